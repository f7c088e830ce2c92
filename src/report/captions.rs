//! The captions of all figures in one text file, for the write-up.
//!
//! Given drawn figures; gives plain text, one numbered paragraph each with the file it belongs to. It draws nothing.

use crate::plot::Figure;

/// See the module.
pub fn captions(figures: &[Figure]) -> String {
    let mut text = String::new();
    for (index, figure) in figures.iter().enumerate() {
        if index > 0 {
            text.push('\n');
        }
        text.push_str(&format!("Figure {} ({}.svg). {}. {}\n", index + 1, figure.name, figure.title, figure.caption));
    }
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
        let text = captions(&[figure("map"), figure("budget")]);
        assert!(text.contains("Figure 1 (map.svg). Title. What is seen.\n"));
        assert!(text.contains("Figure 2 (budget.svg)."));
        assert_eq!(captions(&[]), "");
    }
}
