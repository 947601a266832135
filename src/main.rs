//! Front door: arguments in, exit status out.

fn main() {}
