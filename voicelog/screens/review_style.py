"""How the review screen is laid out and coloured (Textual CSS)."""

from __future__ import annotations

from voicelog.screens.palette import GROUND, ORANGE, QUIET, RAISED, RULE, SKY_BLUE, TEXT, YELLOW

FORMS = f"""
ModalScreen {{ align: center middle; background: {GROUND} 70%; }}
.form {{ width: 76; max-width: 96%; height: auto; max-height: 96%; background: {RAISED};
  border: round {SKY_BLUE}; border-title-color: {TEXT}; border-title-style: bold; padding: 0 1; }}
.title {{ text-style: bold; margin-bottom: 1; }}
.field {{ height: auto; }}
.name {{ width: 10; color: {QUIET}; }}
.field Input {{ width: 1fr; background: {GROUND}; }}
.field RadioSet {{ width: 1fr; background: {RAISED}; border: none; padding: 0; }}
.field Input > .input--placeholder {{ color: {QUIET}; text-style: italic; }}
.field Input:focus {{ background: {RULE}; background-tint: {RULE} 0%; }}
.field RadioSet:focus {{ background: {RULE}; }}
.form #near {{ height: auto; max-height: 6; margin-left: 10; background: {RAISED}; border: none; }}
.form #near:focus {{ background: {RULE}; }}
.form #means {{ height: auto; color: {SKY_BLUE}; margin-left: 10; }}
.policy {{ color: {YELLOW}; height: auto; }}
.form #against {{ color: {ORANGE}; height: auto; }}
.form #wrong {{ height: auto; color: {YELLOW}; margin-top: 1; }}
.hint {{ color: {QUIET}; }}
"""
"""How a form over a screen looks."""

CSS = f"""
Screen {{ background: {GROUND}; color: {TEXT}; }}
OptionList, VerticalScroll {{ scrollbar-background: {GROUND}; scrollbar-background-hover: {GROUND};
  scrollbar-background-active: {GROUND}; scrollbar-color: {RULE}; scrollbar-color-hover: {QUIET};
  scrollbar-color-active: {QUIET}; }}
#top {{ height: 1; background: {RAISED}; text-style: bold; padding: 0 1; }}
#signed {{ height: auto; max-height: 3; background: {RAISED}; color: {QUIET}; padding: 0 1; }}
#summary {{ height: 1; background: {RAISED}; color: {QUIET}; padding: 0 1; }}
#both {{ height: 1fr; }}
#agenda {{ width: 40%; min-width: 30; height: 100%; background: {GROUND}; border: none;
  border-right: solid {RULE}; padding: 0; scrollbar-size-vertical: 1; }}
#agenda:focus {{ background: {GROUND}; background-tint: {GROUND} 0%; }}
#agenda > .option-list--option {{ padding: 0; }}
#agenda > .option-list--option-disabled {{ color: {QUIET}; padding: 0; }}
#agenda > .option-list--option-highlighted {{ background: {RULE}; color: {TEXT}; text-style: bold; }}
#right {{ width: 1fr; padding: 0 1; scrollbar-size-vertical: 1; }}
#said {{ height: auto; max-height: 3; min-height: 1; color: {SKY_BLUE}; padding: 0 1; }}
#keys {{ background: {RAISED}; padding: 0 1; }}
{FORMS}"""
