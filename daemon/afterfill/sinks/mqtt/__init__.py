"""To a broker of home automation, with discovery: topics are states."""
