//! Published sources of the methods.
//!
//! Given nothing; gives the short form cited in a sentence and the full form for the list at its end.

/// A source that the method text may cite.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Source {
    BellMcCaffrey,
    DerSimonianLaird,
    DurbinKoopman,
    EfronStein,
    En1991,
    Fieller,
    FreedmanLane,
    Holm,
    Iso2533,
    Iso28580,
    Jcgm100,
    Jcgm101,
    Maier,
    Martin,
    Meier,
    NeweyWest,
    Nga,
    PattersonThompson,
    Picard,
    Pitman,
    Pregibon,
    PustejovskyTipton,
    RaoWu,
    Sargan,
    Schuirmann,
    Smit,
    Smyth,
    StaigerStock,
    UnR117,
    Welch,
    WmoGuide,
    Wooldridge,
}

impl Source {
    /// As it is cited in a sentence.
    pub fn cited(self) -> &'static str {
        match self {
            Source::BellMcCaffrey => "Bell & McCaffrey 2002",
            Source::DerSimonianLaird => "DerSimonian & Laird 1986",
            Source::DurbinKoopman => "Durbin & Koopman 2012",
            Source::EfronStein => "Efron & Stein 1981",
            Source::En1991 => "EN 1991-1-4, annex B",
            Source::Fieller => "Fieller 1954",
            Source::FreedmanLane => "Freedman & Lane 1983",
            Source::Holm => "Holm 1979",
            Source::Iso2533 => "ISO 2533",
            Source::Iso28580 => "ISO 28580",
            Source::Jcgm100 => "JCGM 100:2008",
            Source::Jcgm101 => "JCGM 101:2008",
            Source::Pregibon => "Pregibon 1981",
            Source::Maier => "Maier et al. 2017",
            Source::Martin => "Martin et al. 1998",
            Source::Meier => "Meier 1953",
            Source::NeweyWest => "Newey & West 1987",
            Source::Nga => "NGA.STND.0036",
            Source::PattersonThompson => "Patterson & Thompson 1971",
            Source::Picard => "Picard et al. 2008",
            Source::Pitman => "Pitman 1937",
            Source::PustejovskyTipton => "Pustejovsky & Tipton 2018",
            Source::RaoWu => "Rao & Wu 1988",
            Source::Sargan => "Sargan 1958",
            Source::Schuirmann => "Schuirmann 1987",
            Source::Smit => "Smit et al. 2023",
            Source::Smyth => "Smyth 2004",
            Source::StaigerStock => "Staiger & Stock 1997",
            Source::UnR117 => "UN Regulation No. 117, annex 6",
            Source::Welch => "Welch 1951",
            Source::WmoGuide => "WMO-No. 8",
            Source::Wooldridge => "Wooldridge 2010, ch. 5",
        }
    }

    /// As it stands in the list of sources.
    pub fn full(self) -> &'static str {
        match self {
            Source::BellMcCaffrey => {
                "Bell, R. M. & McCaffrey, D. F. (2002). Bias reduction in standard errors for linear regression \
                 with multi-stage samples. Survey Methodology 28, 169–181."
            }
            Source::DerSimonianLaird => {
                "DerSimonian, R. & Laird, N. (1986). Meta-analysis in clinical trials. Controlled Clinical Trials \
                 7, 177–188."
            }
            Source::DurbinKoopman => {
                "Durbin, J. & Koopman, S. J. (2012). Time Series Analysis by State Space Methods, 2nd ed. Oxford \
                 University Press."
            }
            Source::EfronStein => {
                "Efron, B. & Stein, C. (1981). The jackknife estimate of variance. Annals of Statistics 9, \
                 586–596."
            }
            Source::En1991 => {
                "EN 1991-1-4:2005. Eurocode 1: Actions on structures. Part 1-4: General actions, wind actions."
            }
            Source::Fieller => {
                "Fieller, E. C. (1954). Some problems in interval estimation. Journal of the Royal Statistical Society B 16, \
                 175–185."
            }
            // From memory.
            Source::FreedmanLane => {
                "Freedman, D. & Lane, D. (1983). A nonstochastic interpretation of reported significance levels. Journal of \
                 Business & Economic Statistics 1, 292–298."
            }
            Source::Holm => {
                "Holm, S. (1979). A simple sequentially rejective multiple test procedure. Scandinavian Journal \
                 of Statistics 6, 65–70."
            }
            Source::Iso2533 => "ISO 2533:1975. Standard atmosphere.",
            Source::Iso28580 => {
                "ISO 28580. Passenger car, truck and bus tyre rolling resistance measurement method: single point \
                 test and correlation of measurement results."
            }
            Source::Jcgm100 => {
                "JCGM 100:2008. Evaluation of measurement data: guide to the expression of uncertainty in \
                 measurement."
            }
            Source::Jcgm101 => {
                "JCGM 101:2008. Evaluation of measurement data: supplement 1 to the guide, propagation of distributions using \
                 a Monte Carlo method."
            }
            Source::Maier => {
                "Maier, Schmid, Müller, Steiner & Wehrlin (2017). International Journal of Sports Medicine 38, 456–461, \
                 doi 10.1055/s-0043-102945."
            }
            Source::Martin => {
                "Martin, J. C., Milliken, D. L., Cobb, J. E., McFadden, K. L. & Coggan, A. R. (1998). Validation \
                 of a mathematical model for road cycling power. Journal of Applied Biomechanics 14, 276–291."
            }
            Source::Meier => "Meier, P. (1953). Variance of a weighted mean. Biometrics 9, 59–73.",
            Source::NeweyWest => {
                "Newey, W. K. & West, K. D. (1987). A simple, positive semi-definite, heteroskedasticity and \
                 autocorrelation consistent covariance matrix. Econometrica 55, 703–708."
            }
            Source::Nga => "NGA.STND.0036 (2014). World Geodetic System 1984, version 1.0.0.",
            Source::PattersonThompson => {
                "Patterson, H. D. & Thompson, R. (1971). Recovery of inter-block information when block sizes are unequal. \
                 Biometrika 58, 545–554."
            }
            Source::Picard => {
                "Picard, A., Davis, R. S., Gläser, M. & Fujii, K. (2008). Revised formula for the density of \
                 moist air (CIPM-2007). Metrologia 45, 149–155."
            }
            // From memory.
            Source::Pitman => {
                "Pitman, E. J. G. (1937). Significance tests which may be applied to samples from any populations. \
                 Supplement to the Journal of the Royal Statistical Society 4, 119–130."
            }
            Source::PustejovskyTipton => {
                "Pustejovsky, J. E. & Tipton, E. (2018). Small-sample methods for cluster-robust variance \
                 estimation and hypothesis testing in fixed effects models. Journal of Business & Economic \
                 Statistics 36, 672–683."
            }
            Source::Pregibon => {
                "Pregibon, D. (1981). Logistic regression diagnostics. Annals of Statistics 9, 705–724."
            }
            Source::RaoWu => {
                "Rao, J. N. K. & Wu, C. F. J. (1988). Resampling inference with complex survey data. Journal of the \
                 American Statistical Association 83, 231–241."
            }
            Source::Sargan => {
                "Sargan, J. D. (1958). The estimation of economic relationships using instrumental variables. \
                 Econometrica 26, 393–415."
            }
            Source::Schuirmann => {
                "Schuirmann, D. J. (1987). A comparison of the two one-sided tests procedure and the power \
                 approach for assessing the equivalence of average bioavailability. Journal of Pharmacokinetics \
                 and Biopharmaceutics 15, 657–680."
            }
            Source::Smit => "Smit et al. (2023). Sports Engineering, doi 10.1007/s12283-023-00439-z.",
            Source::Smyth => {
                "Smyth, G. K. (2004). Linear models and empirical Bayes methods for assessing differential expression in \
                 microarray experiments. Stat. Appl. Genet. Mol. Biol. 3, 3."
            }
            Source::StaigerStock => {
                "Staiger, D. & Stock, J. H. (1997). Instrumental variables regression with weak instruments. \
                 Econometrica 65, 557–586."
            }
            Source::UnR117 => {
                "UN Regulation No. 117. Uniform provisions concerning the approval of tyres with regard to \
                 rolling sound emissions, adhesion on wet surfaces and rolling resistance."
            }
            Source::Welch => {
                "Welch, B. L. (1951). On the comparison of several mean values: an alternative approach. Biometrika 38, \
                 330–336."
            }
            Source::WmoGuide => {
                "WMO-No. 8. Guide to instruments and methods of observation. World Meteorological Organization."
            }
            Source::Wooldridge => {
                "Wooldridge, J. M. (2010). Econometric Analysis of Cross Section and Panel Data, 2nd ed. MIT \
                 Press."
            }
        }
    }
}
