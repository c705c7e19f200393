"""What a picture of the Sun tells in numbers: spots, groups, their course from day to day; arrays and values only."""
