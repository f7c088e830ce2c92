//! Set-ups read from the names of files, such as a-1.fit, b-1.fit, b-2.fit, a-2.fit.
//!
//! Given file names; gives an id for each, or nothing where the names do not show set-ups. It opens no file.

/// Words that say which ride it was, not what was ridden.
const OF_THE_RIDE: [&str; 24] = [
    "run",
    "ride",
    "lap",
    "laps",
    "test",
    "loop",
    "road",
    "track",
    "rollers",
    "roller",
    "drums",
    "velodrome",
    "morning",
    "afternoon",
    "evening",
    "lunch",
    "activity",
    "cycling",
    "workout",
    "session",
    "fit",
    "export",
    "record",
    "file",
];
/// Longer names are those of devices and services.
const LONGEST: usize = 24;

/// An id for each file.
#[derive(Debug, Clone, PartialEq, Default)]
pub(super) struct SetupGuess {
    of_file: Vec<String>,
}

impl SetupGuess {
    /// Names show set-ups where each has a word of its own left and there are fewer words than files, or as many and all of
    /// them letters.
    pub fn from_names(files: &[&str]) -> SetupGuess {
        let of_file: Vec<String> = files.iter().map(|f| label(f)).collect();
        let mut distinct = of_file.clone();
        distinct.sort();
        distinct.dedup();
        let whole = !of_file.is_empty() && of_file.iter().all(|l| !l.is_empty() && l.len() <= LONGEST);
        let told_apart = distinct.len() >= 2 || files.len() == 1;
        let words = distinct.iter().all(|l| l.chars().all(|c| c.is_alphabetic() || c == '-'));
        if whole && told_apart && (distinct.len() < files.len() || words) {
            SetupGuess { of_file }
        } else {
            SetupGuess::default()
        }
    }

    /// Of a file, by its place.
    pub fn of(&self, file: usize) -> Option<&str> {
        self.of_file.get(file).map(String::as_str)
    }

    /// Each once, in the order of riding.
    pub fn ids(&self) -> Vec<String> {
        let mut out: Vec<String> = Vec::new();
        for id in &self.of_file {
            if !out.contains(id) {
                out.push(id.clone());
            }
        }
        out
    }
}

/// What is left of a name without its ending, numbers and words of the ride: "Rollers_A-2.fit" is "a", "tube25 1.csv" "tube25".
fn label(file: &str) -> String {
    let stem = file.rsplit_once('.').map_or(file, |(stem, _)| stem).to_lowercase();
    let parts = stem.split(|c: char| !c.is_alphanumeric());
    let kept = parts.filter(|p| {
        let letters: String = p.chars().filter(|c| c.is_alphabetic()).collect();
        // "run1" and "20261127t0830" are of the ride, too.
        let of_the_ride = OF_THE_RIDE.contains(&letters.as_str()) || (letters.len() == 1 && p.len() > 6);
        !letters.is_empty() && !of_the_ride
    });
    let parts: Vec<&str> = kept.collect();
    match parts[..] {
        // One letter with a number, "a1": the number counts its runs.
        [one] if one.chars().take_while(|c| c.is_alphabetic()).count() == 1 => one.chars().take(1).collect(),
        _ => parts.join("-"),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn ids(files: &[&str]) -> Vec<String> {
        SetupGuess::from_names(files).ids()
    }

    #[test]
    fn names_that_show_set_ups_are_read() {
        assert_eq!(ids(&["a-1.fit", "b-1.fit", "b-2.fit", "a-2.fit"]), ["a", "b"]);
        assert_eq!(ids(&["A1.FIT", "B1.FIT", "a2.fit"]), ["a", "b"]);
        assert_eq!(
            ids(&["rollers_tube25_1.csv", "track-tube25-2.csv", "rollers_sealed28_1.csv"]),
            ["tube25", "sealed28"]
        );
        assert_eq!(ids(&["tube.fit", "latex.fit"]), ["tube", "latex"]);
        let guess = SetupGuess::from_names(&["run-1 hoods.fit", "run-2 drops.fit", "run-3 hoods.fit"]);
        assert_eq!((guess.of(0), guess.of(1), guess.of(2)), (Some("hoods"), Some("drops"), Some("hoods")));
    }

    #[test]
    fn names_of_devices_show_nothing() {
        for files in [
            &["run-1.fit", "run-2.fit"][..],
            &["2026-11-27-083012.fit", "2026-11-27-091544.fit"],
            &["20261127T083012.fit", "20261127T091544.fit"],
            &["4f9c2b7a11.fit", "90ab11cd22.fit"],
            &["Morning_Ride.fit", "Lunch_Ride.fit"],
            &["a-1.fit", "2.fit"],
            &[],
        ] {
            assert!(ids(files).is_empty(), "{files:?}: {:?}", ids(files));
        }
    }
}
