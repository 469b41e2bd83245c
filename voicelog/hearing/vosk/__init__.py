"""The second engine: Vosk, with a model of the user's own.

Streaming, small, and in many languages. Nothing here is imported, and the library is not loaded,
unless a Vosk model is asked for.
"""
