//! The one question that no ride answers: what differs between the set-ups, and what follows for the sharing of CdA and Crr.
//!
//! Given the answer, or none; gives lines of the session. It guesses nothing: the wrong sharing makes a sharp and wrong result.

use super::wording::commented;

/// What differs between the set-ups.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Differs {
    Tyres,
    Position,
    Wheels,
    Several,
}

impl Differs {
    pub const ALL: [Differs; 4] = [Differs::Tyres, Differs::Position, Differs::Wheels, Differs::Several];

    pub fn word(self) -> &'static str {
        match self {
            Differs::Tyres => "tyres",
            Differs::Position => "position",
            Differs::Wheels => "wheels",
            Differs::Several => "several",
        }
    }

    /// Examples for a label.
    fn labels(self) -> &'static str {
        match self {
            Differs::Tyres => "\"25 mm, inner tube, 6.2 bar\"",
            Differs::Position => "\"hands on the hoods\" or \"bars 20 mm lower\"",
            Differs::Wheels => "\"50 mm rims, same tyres\"",
            Differs::Several => "\"28 mm, sealed, new helmet\"",
        }
    }
}

/// An example for the label of a set-up.
pub(super) fn label_example(differs: Option<Differs>) -> String {
    match differs {
        Some(d) => format!("in full, such as {}", d.labels()),
        None => format!("in full, such as {} or {}", Differs::Tyres.labels(), Differs::Position.labels()),
    }
}

/// The table `[solve]`.
pub(super) fn solve_table(differs: Option<Differs>) -> String {
    let mut out = String::from("[solve]\n");
    match differs {
        Some(Differs::Tyres) => {
            out.push_str(
                "# Only the tyres differ, so one CdA serves all set-ups; this is what makes a tyre test sharp.\n",
            );
            out.push_str("cda = \"common\"\ncrr = \"per-setup\"\n");
        }
        Some(Differs::Position) => {
            out.push_str(
                "# Only the position differs, so one Crr serves all set-ups; this is what makes the test sharp.\n",
            );
            out.push_str("cda = \"per-setup\"\ncrr = \"common\"\n");
        }
        Some(Differs::Wheels) => {
            out.push_str("# Other wheels change the air drag, and the rolling unless the very same tyres are moved from wheel to wheel: then\n");
            out.push_str("# say crr = \"common\", which makes the test sharper. State wheel_inertia_kg_m2 in each [[run]] if they differ in weight.\n");
            out.push_str("cda = \"per-setup\"\ncrr = \"per-setup\"\n");
        }
        Some(Differs::Several) => {
            out.push_str("# Several things differ, so nothing is shared; intervals are wider than with one thing changed at a time.\n");
            out.push_str("cda = \"per-setup\"\ncrr = \"per-setup\"\n");
        }
        None => {
            out.push_str("# What differs between the set-ups? What does not is \"common\", which makes the test sharp; the wrong choice makes it\n");
            out.push_str("# sharp and wrong. Tyres only: cda = \"common\". Position only: crr = \"common\". Wheels, or several things: both\n");
            out.push_str("# \"per-setup\". (scaffold --differs tyres|position|wheels|several writes this.)\n");
            out.push_str(&commented(
                "cda = \"\"",
                "FILL IN: \"common\" where only the tyres differ, else \"per-setup\"",
            ));
            out.push_str(&commented(
                "crr = \"\"",
                "FILL IN: \"common\" where only the position differs, else \"per-setup\"",
            ));
        }
    }
    out
}
