"""A remark and its transcript, which comes after the sound is committed."""

from __future__ import annotations

from voicelog.walk.events import RemarkLogged, RemarkTranscribed

NO_TRANSCRIPT = "no transcript yet; the sound is the original"


def transcribed(remark: RemarkLogged, event: RemarkTranscribed) -> RemarkLogged:
    """Return the remark with the words of the event, if it is the one they are of."""
    if remark.remark_id != event.remark_id:
        return remark
    heard = remark.heard.model_copy(update={"text": event.text})
    return remark.model_copy(update={"heard": heard, "transcribed": True})


def words_of(remark: RemarkLogged) -> str:
    """Return what is shown for the words of a remark."""
    return remark.heard.text or ("remark without words" if remark.transcribed else NO_TRANSCRIPT)
