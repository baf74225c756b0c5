"""SQLite through sqlite-utils: takes the planner's facts, computes nothing."""
