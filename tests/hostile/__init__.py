"""What strangers may send: every door of Crestline, with what should never come through it."""
