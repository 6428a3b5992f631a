"""Tests of Crestline; DEVELOPERS.md says which folder holds what."""
