"""The reader's words: catalogues, sentences found again in them, numbers and dates by the language's habits."""

from hushpoint.words.reader import ENGLISH, LANGUAGES, UNITS, Reader, chosen, reader

__all__ = ["ENGLISH", "LANGUAGES", "UNITS", "Reader", "chosen", "reader"]
