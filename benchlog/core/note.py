"""Something about a log that the reader of a result should know."""

from pydantic import BaseModel, ConfigDict


class Note(BaseModel):
    """Something about a log that the reader of the result should know.

    Attributes:
        log: its file. line: of the file, where the note is about one. text: a plain sentence.
    """

    model_config = ConfigDict(frozen=True, extra="forbid", allow_inf_nan=False)

    log: str
    line: int | None = None
    text: str
