"""The main job played over HTTP only, every step verified from the outside.

Nothing here reads the database or calls a service: what a program with tokens
and passwords can see is all there is.
"""
