"""Every text that a person reads, by topic, ready for a second language through gettext.

Each module holds small functions that take plain values and return a sentence. Nothing here knows about
sound, Qt or files, so that every layer may use it.
"""
