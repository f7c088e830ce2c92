//! Figures as PNG beside the SVG, for those whose writing program takes no SVG.
//!
//! Given result files; puts a PNG after each SVG among them when it was asked for. Only a build with the feature `png`
//! can; any other says so before anything is computed. It draws with the fonts of the machine, so that, unlike every
//! other file, a PNG may differ from one machine to the next.

use clap::ValueEnum;
use loopwright::error::Error;
use loopwright::report::files::ResultFile;

/// In what figures are written.
#[derive(Debug, Clone, Copy, PartialEq, Eq, ValueEnum)]
pub enum FigureFormat {
    /// Lines and letters, sharp at every size
    Svg,
    /// The SVG and, beside it, a picture of 300 dots per inch
    Png,
}

impl FigureFormat {
    /// Refuses early what this build cannot do.
    pub fn check(self) -> Result<(), Error> {
        if self == FigureFormat::Svg || cfg!(feature = "png") {
            return Ok(());
        }
        Err(Error::Usage {
            flag: "--figure-format png".into(),
            message: "this loopwright was built without PNG to build faster; build it with «cargo install --path . --features png», \
                      or take the SVG figures, which any browser can print or turn into a picture"
                .into(),
        })
    }

    /// The files with a PNG after each SVG, where asked.
    pub fn applied(self, files: Vec<ResultFile>) -> Result<Vec<ResultFile>, Error> {
        if self == FigureFormat::Svg {
            return Ok(files);
        }
        let painter = Painter::new()?;
        let mut all = Vec::with_capacity(2 * files.len());
        for file in files {
            let picture = match file.name.strip_suffix(".svg") {
                Some(stem) => Some(painter.paint(&format!("{stem}.png"), &file.bytes)?),
                None => None,
            };
            all.push(file);
            all.extend(picture);
        }
        Ok(all)
    }
}

#[cfg(not(feature = "png"))]
struct Painter;

#[cfg(not(feature = "png"))]
impl Painter {
    fn new() -> Result<Painter, Error> {
        FigureFormat::Png.check().map(|()| Painter)
    }

    fn paint(&self, name: &str, _svg: &[u8]) -> Result<ResultFile, Error> {
        Err(Error::NoPicture { name: name.into(), reason: "this build has no PNG".into() })
    }
}

#[cfg(feature = "png")]
use painter::Painter;

#[cfg(feature = "png")]
mod painter {
    use super::{Error, ResultFile};
    use resvg::tiny_skia::{Pixmap, Transform};
    use resvg::usvg::{Options, Tree, fontdb};

    /// Dots per inch, what printers of journals ask of lines and letters (common practice, no source).
    const DOTS_PER_INCH: f32 = 300.0;
    /// Families that stand in for the ones that a figure names, best first.
    const STAND_IN: [&str; 5] = ["Liberation Sans", "Arimo", "Noto Sans", "DejaVu Sans", "FreeSans"];

    pub struct Painter {
        options: Options<'static>,
    }

    impl Painter {
        /// Finds the fonts of the machine.
        ///
        /// Errors: [`Error::NoPicture`] when there is none: words would be missing from every figure.
        pub fn new() -> Result<Painter, Error> {
            let mut options = Options { dpi: DOTS_PER_INCH, ..Options::default() };
            options.fontdb_mut().load_system_fonts();
            Painter::with_fonts(options)
        }

        fn with_fonts(mut options: Options<'static>) -> Result<Painter, Error> {
            let family = stand_in(&options.fontdb).ok_or_else(|| Error::NoPicture {
                name: "figures".into(),
                reason: "there is no font on this machine; install one, such as the package fonts-liberation".into(),
            })?;
            options.fontdb_mut().set_sans_serif_family(family.clone());
            options.font_family = family;
            Ok(Painter { options })
        }

        pub fn paint(&self, name: &str, svg: &[u8]) -> Result<ResultFile, Error> {
            let failed = |reason: String| Error::NoPicture { name: name.into(), reason };
            let tree = Tree::from_data(svg, &self.options).map_err(|e| failed(e.to_string()))?;
            let size = tree.size().to_int_size();
            let mut pixels = Pixmap::new(size.width(), size.height())
                .ok_or_else(|| failed(format!("{} by {} dots are too many", size.width(), size.height())))?;
            resvg::render(&tree, Transform::identity(), &mut pixels.as_mut());
            let bytes = pixels.encode_png().map_err(|e| failed(e.to_string()))?;
            Ok(ResultFile { name: name.into(), bytes })
        }
    }

    /// A family that is there, sans-serif where possible.
    fn stand_in(fonts: &fontdb::Database) -> Option<String> {
        let families = || fonts.faces().flat_map(|face| face.families.iter().map(|(name, _)| name.as_str()));
        let known = STAND_IN.iter().find(|wanted| families().any(|name| name == **wanted)).map(|name| name.to_string());
        known.or_else(|| families().next().map(String::from))
    }

    #[cfg(test)]
    mod tests {
        use super::*;

        fn dark(picture: &ResultFile) -> usize {
            let pixels = Pixmap::decode_png(&picture.bytes).unwrap();
            pixels.pixels().iter().filter(|p| p.red() < 128).count()
        }

        #[test]
        fn words_of_a_figure_are_painted_at_300_dots_an_inch() {
            let Ok(painter) = Painter::new() else {
                println!("skipped: no font on this machine");
                return;
            };
            let svg = |words: &str| {
                format!(
                    "<svg xmlns=\"http://www.w3.org/2000/svg\" width=\"25.4mm\" height=\"12.7mm\" viewBox=\"0 0 254 127\" \
                     font-family=\"Helvetica,Arial,Liberation Sans,Roboto,sans-serif\"><rect width=\"100%\" height=\"100%\" \
                     fill=\"#FFF\"/><text x=\"10\" y=\"80\" font-size=\"60\">{words}</text></svg>"
                )
            };
            let (with, without) =
                (painter.paint("a.png", svg("CdA, m²").as_bytes()), painter.paint("a.png", svg("").as_bytes()));
            let (with, without) = (with.unwrap(), without.unwrap());
            assert!(dark(&with) > 1000 && dark(&without) == 0, "{} dark dots", dark(&with));
            let pixels = Pixmap::decode_png(&with.bytes).unwrap();
            assert_eq!((pixels.width(), pixels.height()), (300, 150), "one inch by half an inch");
        }

        #[test]
        fn a_machine_without_fonts_is_told_so() {
            let error = Painter::with_fonts(Options::default()).err().expect("an error");
            assert!(error.to_string().contains("no font on this machine"), "{error}");
        }

        #[test]
        fn what_is_no_figure_is_refused_and_not_painted() {
            let Ok(painter) = Painter::new() else {
                println!("skipped: no font on this machine");
                return;
            };
            assert!(painter.paint("a.png", b"<svg").is_err());
        }
    }
}
