"""Work that is kept as rows: what is to be done, who has it until when, what came of it.

`leases`: the abstract row that jobs, imports, mails and messages to other programs share.
`waking`: the messages that tell workers of rows. `turns`: what must not run twice at a time.
`jobs`: long work in parts. `mails`, `digests`: mail. The queue only wakes workers up: what it
loses, or what it cannot take because it is away, is found by the schedule.
"""
