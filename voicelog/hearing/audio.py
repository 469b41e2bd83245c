"""placeholder"""
from dataclasses import dataclass
from voicelog.hearing.recogniser import Samples
@dataclass(frozen=True)
class Block:
    samples: Samples
    start_s: float
