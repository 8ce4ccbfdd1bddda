"""What a routine is: counts, feet, turns.

========================  ====================================================
`counts`                  the trade's count notation and 1-based numbering
`turns`                   turns, facings, clock text, walls
`feet`                    which foot carries the weight
`vocabulary`              the generic steps: usual rhythm, weight, turn, cue
`toml_lines`              TOML text with the line of every key
`key_reader`              single keys of it, every mistake with its line
`part_reader`             the parts and tags in it
`step_lines`              step lines to `Step`s
`from_numbers`            a routine of which only the numbers are known
`tags`                    tags of which only the length is known
`dancer_state`            facing, free foot and turn load of a built routine
`restarts`                where a repetition may be cut short
`consistency`             contradictions inside a routine (errors)
`spec`                    the routine file: its format and its reader
`check`                   every finding about a routine, warnings included
`form`                    a routine file as fields and lines, changed in place
`templates`               what a new routine starts from
`written`                 writing a new file, and a routine as a typed sheet
`pasted`                  reading a typed sheet, with the three below
`sheet_head`              ... its head: name, size, level, tempo
`sheet_changes`           ... its restarts and tags
`typed_steps`             ... one line: counts, step, feet, turn
========================  ====================================================
"""
