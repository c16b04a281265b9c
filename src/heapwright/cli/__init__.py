"""The command line: parse, call one service, show."""
