"""A crew's days: visits, travel, rounds and the choice among them."""
