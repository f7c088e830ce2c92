//! What set-ups were stated to share and the rides contradict: the words of it.
//!
//! Given the differences as stated and with what was shared freed; gives a message. It judges nothing.

/// A difference with something shared, and with it freed, W.
#[derive(Debug, Clone, PartialEq)]
pub struct FreedDifference {
    pub setup: String,
    pub shared_w: f64,
    pub freed_w: f64,
    pub freed_se_w: f64,
}

pub(super) fn contradicted(quantity: &str, p_value: f64, differences: &[FreedDifference]) -> String {
    let key = quantity.to_lowercase();
    let both: Vec<String> = differences
        .iter()
        .map(|d| {
            format!(
                "{} {:+.1} W as stated, {:+.1} ± {:.1} W (standard error) freed",
                d.setup, d.shared_w, d.freed_w, d.freed_se_w
            )
        })
        .collect();
    let p = if p_value < 0.001 { "below 0.001".to_string() } else { format!("{p_value:.3}") };
    format!(
        "{quantity} was stated to be common to all set-ups, but the rides contradict that (p {p}). Against the baseline: {}. Unless \
         something else differed between the runs, set {key} = \"per-setup\" under [solve].",
        both.join("; ")
    )
}
