"""The mistakes that crews make: what a record may have meant, and which is likeliest."""
