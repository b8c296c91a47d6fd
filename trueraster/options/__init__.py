"""What is typed, turned into values; every mistake names its option."""
