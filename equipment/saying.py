"""What modules without Django say: marked for the catalogue, translated where it is shown."""

from collections.abc import Callable


def gettext_noop(text: str) -> str:
    """Mark a text for the catalogue and leave it as it is."""
    return text


class Told(ValueError):
    """A refusal in words for the person: one sentence, and the figures in its braces.

    `str` says it in English; `said` in the language of whoever is shown it.
    """

    def __init__(self, sentence: str, **figures: object) -> None:
        self.sentence = sentence
        self.figures = figures
        super().__init__(sentence, figures)

    def __str__(self) -> str:
        return self.said(gettext_noop)

    def said(self, translate: Callable[[str], str]) -> str:
        """The sentence as `translate` says it, with its figures."""
        return translate(self.sentence).format(**self.figures)
