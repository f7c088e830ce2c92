//! Scatter between groups and within them.
//!
//! Given groups of readings or their summaries; gives the one-way table of analysis of variance. It never drops a group.

use crate::error::Error;

/// A group of readings, summarised.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Group {
    pub count: usize,
    pub mean: f64,
    /// Standard deviation of one reading about the group's mean.
    pub sd: f64,
}

impl Group {
    /// Two passes about the first reading, so that many leading digits in common do the scatter no harm.
    pub fn of(readings: &[f64]) -> Group {
        let count = readings.len() as f64;
        let start = readings.first().copied().unwrap_or(f64::NAN);
        let offset = readings.iter().map(|reading| reading - start).sum::<f64>() / count;
        let squares: f64 = readings.iter().map(|reading| (reading - start - offset).powi(2)).sum();
        Group { count: readings.len(), mean: start + offset, sd: (squares / (count - 1.0)).sqrt() }
    }
}

/// One-way analysis of variance.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct OneWay {
    /// Mean of all readings.
    pub grand_mean: f64,
    pub sum_of_squares_between: f64,
    pub sum_of_squares_within: f64,
    pub dof_between: f64,
    pub dof_within: f64,
    /// Ratio of the mean squares.
    pub f: f64,
}

impl OneWay {
    /// From readings. They are taken relative to the first before anything is summed, because a group mean rounded to
    /// a double would carry its rounding into the scatter between groups.
    ///
    /// ```
    /// use loopwright::uncertainty::anova::OneWay;
    /// let table = OneWay::of_readings(&[vec![1.0, 2.0, 3.0], vec![2.0, 3.0, 4.0]])?;
    /// assert!((table.f - 1.5).abs() < 1e-12);
    /// # Ok::<(), loopwright::error::Error>(())
    /// ```
    pub fn of_readings(groups: &[Vec<f64>]) -> Result<OneWay, Error> {
        let start = groups.iter().flatten().next().copied().unwrap_or(0.0);
        let shifted = |group: &Vec<f64>| Group::of(&group.iter().map(|reading| reading - start).collect::<Vec<f64>>());
        let table = OneWay::of(&groups.iter().map(shifted).collect::<Vec<Group>>())?;
        Ok(OneWay { grand_mean: start + table.grand_mean, ..table })
    }

    /// From summaries; at least two groups, and more readings than groups.
    pub fn of(groups: &[Group]) -> Result<OneWay, Error> {
        let readings: f64 = groups.iter().map(|group| group.count as f64).sum();
        let sound =
            |group: &Group| group.count > 0 && group.mean.is_finite() && (group.count == 1 || group.sd.is_finite());
        if groups.len() < 2 || readings <= groups.len() as f64 || !groups.iter().all(sound) {
            return Err(Error::Numerical {
                stage: "analysis of variance",
                message: format!(
                    "{} groups of {readings} readings; two groups, none empty, and a repeat in one are needed",
                    groups.len()
                ),
            });
        }
        let start = groups[0].mean;
        let offset = groups.iter().map(|group| group.count as f64 * (group.mean - start)).sum::<f64>() / readings;
        let between = |group: &Group| group.count as f64 * (group.mean - start - offset).powi(2);
        let within = |group: &Group| if group.count > 1 { (group.count as f64 - 1.0) * group.sd.powi(2) } else { 0.0 };
        let sum_of_squares_between: f64 = groups.iter().map(between).sum();
        let sum_of_squares_within: f64 = groups.iter().map(within).sum();
        let dof_between = groups.len() as f64 - 1.0;
        let dof_within = readings - groups.len() as f64;
        let f = (sum_of_squares_between / dof_between) / (sum_of_squares_within / dof_within);
        Ok(OneWay {
            grand_mean: start + offset,
            sum_of_squares_between,
            sum_of_squares_within,
            dof_between,
            dof_within,
            f,
        })
    }

    /// Standard deviation of one reading within a group.
    pub fn within_sd(&self) -> f64 {
        (self.sum_of_squares_within / self.dof_within).sqrt()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn groups_that_agree_have_nothing_between_them() {
        let table = OneWay::of(&[Group::of(&[1.0, 3.0]), Group::of(&[1.0, 3.0])]).unwrap();
        assert_eq!((table.f, table.within_sd()), (0.0, 2.0_f64.sqrt()));
    }

    #[test]
    fn a_single_group_or_no_repeat_is_refused() {
        assert!(OneWay::of(&[Group::of(&[1.0, 3.0])]).is_err());
        assert!(OneWay::of(&[Group::of(&[1.0]), Group::of(&[2.0])]).is_err());
        assert!(OneWay::of(&[Group::of(&[]), Group::of(&[2.0, 3.0, 4.0])]).is_err());
    }
}
