"""From files to rows of the store: readers, source profiles, checks, refusals, sentences.

`ingest` reads files and folders; `load_profile` reads how a source writes; `refused` writes
refused rows to a file in which they can be fixed. What is wrong with a row is data (`reasons`), put into words
in one place (`sentences`).
"""

from analysis.ingest.faults import IngestError, NotListedError, ProfileError, StillRefusedError
from analysis.ingest.profile import Profile
from analysis.ingest.profile_file import load_profile
from analysis.ingest.raw import LogFile
from analysis.ingest.reasons import Doubt, FileFault, Refusal
from analysis.ingest.run import ingest
from analysis.ingest.summary import IngestSummary, Progress, TableCount

__all__ = [
    "Doubt",
    "FileFault",
    "IngestError",
    "IngestSummary",
    "LogFile",
    "NotListedError",
    "Profile",
    "ProfileError",
    "Progress",
    "Refusal",
    "StillRefusedError",
    "TableCount",
    "ingest",
    "load_profile",
]
