//! How a driver's parameter is written for people: as the textbooks do, with what a table's key leaves out.

/// `f_s` for the key `fs`; a key that has no symbol stays as it is.
pub fn symbol(key: &str) -> &str {
    match key {
        "re" => "R_e",
        "le" => "L_e",
        "fs" => "f_s",
        "qms" => "Q_ms",
        "qes" => "Q_es",
        "qts" => "Q_ts",
        "vas" => "V_as",
        "sd" => "S_d",
        "mms" => "M_ms",
        "cms" => "C_ms",
        "rms" => "R_ms",
        "bl" => "Bl",
        "fc" => "f_c",
        "fb" => "f_b",
        "fp" => "f_p",
        "qmc" => "Q_mc",
        "qtc" => "Q_tc",
        "ql" => "Q_L",
        "qa" => "Q_A",
        "qp" => "Q_P",
        other => other,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn parameters_have_symbols_and_words_stay_words() {
        assert_eq!(["fs", "qms", "bl", "sensitivity"].map(symbol), ["f_s", "Q_ms", "Bl", "sensitivity"]);
    }
}
