//! Published sources of the methods.
//!
//! Given nothing; gives the short form cited in a sentence and the full form for the list at its end.

/// A source that the method text may cite.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Source {
    BellMcCaffrey,
    GolubPereyra,
    Holm,
    Iso18164,
    Iso2533,
    Jcgm100,
    Martin,
    Nga,
    Picard,
    PustejovskyTipton,
    Sargan,
    Schuirmann,
    StaigerStock,
    WmoGuide,
}

impl Source {
    /// As it is cited in a sentence.
    pub fn cited(self) -> &'static str {
        match self {
            Source::BellMcCaffrey => "Bell & McCaffrey 2002",
            Source::GolubPereyra => "Golub & Pereyra 1973",
            Source::Holm => "Holm 1979",
            Source::Iso18164 => "ISO 18164",
            Source::Iso2533 => "ISO 2533",
            Source::Jcgm100 => "JCGM 100:2008",
            Source::Martin => "Martin et al. 1998",
            Source::Nga => "NGA.STND.0036",
            Source::Picard => "Picard et al. 2008",
            Source::PustejovskyTipton => "Pustejovsky & Tipton 2018",
            Source::Sargan => "Sargan 1958",
            Source::Schuirmann => "Schuirmann 1987",
            Source::StaigerStock => "Staiger & Stock 1997",
            Source::WmoGuide => "WMO-No. 8",
        }
    }

    /// As it stands in the list of sources.
    pub fn full(self) -> &'static str {
        match self {
            Source::BellMcCaffrey => {
                "Bell, R. M. & McCaffrey, D. F. (2002). Bias reduction in standard errors for linear regression with \
                 multi-stage samples. Survey Methodology 28, 169–181."
            }
            Source::GolubPereyra => {
                "Golub, G. H. & Pereyra, V. (1973). The differentiation of pseudo-inverses and nonlinear least squares \
                 problems whose variables separate. SIAM Journal on Numerical Analysis 10, 413–432."
            }
            Source::Holm => {
                "Holm, S. (1979). A simple sequentially rejective multiple test procedure. Scandinavian Journal of \
                 Statistics 6, 65–70."
            }
            Source::Iso18164 => {
                "ISO 18164:2005. Passenger car, truck, bus and motorcycle tyres: methods of measuring rolling \
                 resistance."
            }
            Source::Iso2533 => "ISO 2533:1975. Standard atmosphere.",
            Source::Jcgm100 => {
                "JCGM 100:2008. Evaluation of measurement data: guide to the expression of uncertainty in measurement."
            }
            Source::Martin => {
                "Martin, J. C., Milliken, D. L., Cobb, J. E., McFadden, K. L. & Coggan, A. R. (1998). Validation of a \
                 mathematical model for road cycling power. Journal of Applied Biomechanics 14, 276–291."
            }
            Source::Nga => "NGA.STND.0036 (2014). World Geodetic System 1984, version 1.0.0.",
            Source::Picard => {
                "Picard, A., Davis, R. S., Gläser, M. & Fujii, K. (2008). Revised formula for the density of moist air \
                 (CIPM-2007). Metrologia 45, 149–155."
            }
            Source::PustejovskyTipton => {
                "Pustejovsky, J. E. & Tipton, E. (2018). Small-sample methods for cluster-robust variance estimation and \
                 hypothesis testing in fixed effects models. Journal of Business & Economic Statistics 36, 672–683."
            }
            Source::Sargan => {
                "Sargan, J. D. (1958). The estimation of economic relationships using instrumental variables. \
                 Econometrica 26, 393–415."
            }
            Source::Schuirmann => {
                "Schuirmann, D. J. (1987). A comparison of the two one-sided tests procedure and the power approach for \
                 assessing the equivalence of average bioavailability. Journal of Pharmacokinetics and \
                 Biopharmaceutics 15, 657–680."
            }
            Source::StaigerStock => {
                "Staiger, D. & Stock, J. H. (1997). Instrumental variables regression with weak instruments. \
                 Econometrica 65, 557–586."
            }
            Source::WmoGuide => {
                "WMO-No. 8. Guide to instruments and methods of observation. World Meteorological Organization."
            }
        }
    }
}
