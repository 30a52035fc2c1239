"""A piece from barley lot to store: what people recorded, put in its order of time, and what follows from it.

`ground` holds what lies where at one moment; `fold` and its neighbours say what each entry does to it;
`record` keeps the entries in order and works the ground out again when one comes late or is put right; `told`
answers what lay where, when, and what is to be asked in daylight.
"""
