"""What is raised when a whole file or a source profile cannot be used?"""

from __future__ import annotations

from analysis.ingest.reasons import FileFault
from analysis.ingest.sentences import file_sentence


class IngestError(Exception):
    """Nothing of a file went in; the text is one sentence for a user.

    Attributes
    ----------
    code : FileFault
        What is wrong.
    file : str
        The file's own name, or the path that was asked for.
    """

    def __init__(self, code: FileFault, file: str, **facts: object) -> None:
        super().__init__(file_sentence(code, file, **facts))
        self.code = code
        self.file = file


class ProfileError(Exception):
    """A source profile cannot be used; the text names the file, the key and what to write."""
