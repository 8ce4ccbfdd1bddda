"""What a routine is: counts, feet, turns.

========================  ====================================================
`counts`                  the trade's count notation and 1-based numbering
`turns`                   turns, facings, clock text, walls
`feet`                    which foot carries the weight
`vocabulary`              the generic steps: usual rhythm, weight, turn, cue
`source`                  TOML text with the line of every key
`stepsheet`               step lines to `Step`s
`blocks`                  facing, free foot and turn load of a built routine
`restarts`                where a repetition may be cut short
`consistency`             contradictions inside a routine (errors)
`spec`                    the routine file: its format and its reader
`check`                   every finding about a routine, warnings included
========================  ====================================================
"""
