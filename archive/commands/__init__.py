"""The command line: a module a command, named like it; nothing heavy is imported until a command does its work."""
