"""The numbers: arrays in, arrays out; no files, no clock, no words for people."""
