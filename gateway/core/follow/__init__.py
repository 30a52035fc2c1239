"""What is worked out from the readings and kept: turns seen, heat of the beds, honest probes, kiln, air.

Each module has the same six verbs; `gateway.core.followers` knows their order and calls them. What a module
keeps is a dataclass in its own `*_state` file and one field of `State`.

    reading(state, heard, out)      a calibrated reading of a probe in service
    tick(state, out) -> findings    time has passed; before `next_run_ms(state)` it need not be asked
    entered(state, event, out)      people recorded something of a piece; `state.pieces` knows it already
    moved(state, by_ms)             the clock was set; see `rebase`
    site_changed(state)             the site file is another: drop what is gone
    finding(state, subject)         what stands behind an alarm of this module now; None for others' alarms
"""
