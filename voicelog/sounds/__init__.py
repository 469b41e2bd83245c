"""What sounds alike among what can be said: pronunciations, distances, confusable pairs, a report.

Only ``voicelog sheet check --sounds`` uses it; a walk does not.
"""
