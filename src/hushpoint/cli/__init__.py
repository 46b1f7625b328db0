"""Thin commands: read arguments, call one desk or room function, print."""
