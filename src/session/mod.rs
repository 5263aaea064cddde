//! The composition: wires the steps for each command. The only place that imports steps.
