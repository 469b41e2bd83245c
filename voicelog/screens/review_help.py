"""The help page of the review screen."""

from __future__ import annotations

HELP = """\
Up, Down     go through the list: what needs a person comes first
PgUp, PgDn   move through the details on the right
Space        play the sound
1 to 9       settle a doubt as the candidate with that number,
             or re-open that point of a group mark
a            confirm: seen, left as it is (no doubt); A also asks why
c            correct: type what it is instead
r            reject: it counts for nothing, its point is open again
l            look again: the point is open until it is spoken of,
             in this walk or the unit's next
y            sign: not while anything is in doubt
p            person: give the review into another person's hands
q            quit: everything done is in the record already

Signs: ? in doubt   X defect, also from before, or outside its limit
       * by group mark   ! from before, not acknowledged
       . not covered   > sound points, each in under two seconds
       ! caution refused, sound against an open defect, taken back
       ~ not understood, its sound is kept   " remark   + sound
A correction, a rejection, and settling as sound what may be a defect
need a reason. Nothing is ever erased: the original stays readable."""
