"""Images judged by a board that shares no code: it reads the bytes of every chip through pins wired by chance.

What a program means is made beside its text, and every way that control can go is walked in both.
"""
