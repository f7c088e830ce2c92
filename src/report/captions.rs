//! The captions of all figures in one text file, for the write-up.
//!
//! Given drawn figures; gives plain text, one paragraph each with the file it belongs to, numbered as on
//! the page, then those that the page does without. It draws nothing.

use super::shown_figures::on_page;
use crate::plot::Figure;
use crate::solution::Solution;

/// See the module.
pub fn captions(figures: &[Figure], solution: &Solution) -> String {
    let (shown, beside): (Vec<&Figure>, Vec<&Figure>) =
        figures.iter().partition(|figure| on_page(figure.name, solution));
    let numbered = shown.iter().enumerate().map(|(index, figure)| (format!("Figure {}", index + 1), *figure));
    let others = beside.iter().map(|figure| ("Not in the report".to_string(), *figure));
    let said = |(name, f): (String, &Figure)| format!("{name} ({}.svg). {}. {}\n", f.name, f.title, f.caption);
    let mut text = numbered.chain(others).map(said).collect::<Vec<_>>().join("\n");
    if !figures.is_empty() {
        text.push_str(
            "\nColours: Okabe, M. & Ito, K. (2008), Color Universal Design. Every set-up also has a marker and a dash of \
             its own.\n",
        );
    }
    text
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn each_figure_has_a_numbered_caption_with_its_file() {
        let figure = |name| Figure {
            name,
            title: "Title".into(),
            svg: String::new(),
            png: None,
            caption: "What is seen.".into(),
        };
        let solution = Solution::default();
        let text = captions(&[figure("model-residual"), figure("map"), figure("budget")], &solution);
        assert!(text.contains("Figure 1 (map.svg). Title. What is seen.\n"));
        assert!(text.contains("Figure 2 (budget.svg)."));
        assert!(text.contains("\nNot in the report (model-residual.svg)."), "{text}");
        assert_eq!(captions(&[], &solution), "");
    }
}
