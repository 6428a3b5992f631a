"""What does each command of `python -m model` take, and what does it answer?"""
