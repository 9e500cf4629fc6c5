//! Volume of milk. Kept as whole microlitres, so that sums are exact and nothing is lost by rounding twice.

use std::fmt;
use std::iter::Sum;
use std::ops::{Add, AddAssign, Sub, SubAssign};

use serde::{Deserialize, Deserializer, Serialize, Serializer};

/// Published: NIST Handbook 44, appendix C (231 cubic inches / 128); the printed row is from memory.
pub const ML_PER_US_FL_OZ: f64 = 29.573_529_562_5;

/// The unit a household thinks in, and what a bare number means there.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum Unit {
    #[default]
    Ml,
    Oz,
}

/// An amount of milk in whole microlitres; never negative where it is stock.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Default)]
pub struct Volume(i64);

impl Volume {
    pub const ZERO: Volume = Volume(0);

    pub const fn from_microlitres(microlitres: i64) -> Volume {
        Volume(microlitres)
    }

    pub fn from_ml(ml: f64) -> Volume {
        Volume((ml * 1000.0).round() as i64)
    }

    pub fn from_oz(oz: f64) -> Volume {
        Volume::from_ml(oz * ML_PER_US_FL_OZ)
    }

    pub fn of(amount: f64, unit: Unit) -> Volume {
        match unit {
            Unit::Ml => Volume::from_ml(amount),
            Unit::Oz => Volume::from_oz(amount),
        }
    }

    pub const fn microlitres(self) -> i64 {
        self.0
    }

    pub fn ml(self) -> f64 {
        self.0 as f64 / 1000.0
    }

    pub fn oz(self) -> f64 {
        self.ml() / ML_PER_US_FL_OZ
    }

    pub fn is_zero(self) -> bool {
        self.0 == 0
    }

    /// What is left when `other` is taken out; never less than nothing.
    pub fn less(self, other: Volume) -> Volume {
        Volume((self.0 - other.0).max(0))
    }
}

impl Add for Volume {
    type Output = Volume;
    fn add(self, other: Volume) -> Volume {
        Volume(self.0 + other.0)
    }
}

impl Sub for Volume {
    type Output = Volume;
    fn sub(self, other: Volume) -> Volume {
        Volume(self.0 - other.0)
    }
}

impl AddAssign for Volume {
    fn add_assign(&mut self, other: Volume) {
        self.0 += other.0;
    }
}

impl SubAssign for Volume {
    fn sub_assign(&mut self, other: Volume) {
        self.0 -= other.0;
    }
}

impl Sum for Volume {
    fn sum<I: Iterator<Item = Volume>>(all: I) -> Volume {
        Volume(all.map(|v| v.0).sum())
    }
}

impl fmt::Display for Volume {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{} ml", self.ml())
    }
}

/// As a number of millilitres; a whole number is written without a point.
impl Serialize for Volume {
    fn serialize<S: Serializer>(&self, s: S) -> Result<S::Ok, S::Error> {
        if self.0 % 1000 == 0 { s.serialize_i64(self.0 / 1000) } else { s.serialize_f64(self.ml()) }
    }
}

impl<'de> Deserialize<'de> for Volume {
    fn deserialize<D: Deserializer<'de>>(d: D) -> Result<Volume, D::Error> {
        let ml = f64::deserialize(d)?;
        if ml.is_finite() && ml.abs() < 1e9 {
            Ok(Volume::from_ml(ml))
        } else {
            Err(serde::de::Error::custom(format!("{ml} ml is no amount of milk")))
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn ounces_are_us_fluid_ounces() {
        // Published: NIST Handbook 44, appendix C: 1 US fl oz = 29.573 529 562 5 ml.
        assert_eq!(Volume::from_oz(1.0).microlitres(), 29_574);
        assert_eq!(Volume::from_oz(4.0).microlitres(), 118_294);
        assert_eq!(Volume::from_oz(4.5).microlitres(), 133_081);
        assert_eq!(Volume::from_oz(128.0).microlitres(), 3_785_412); // one US gallon: 231 cubic inches
    }

    #[test]
    fn whole_millilitres_are_written_whole() {
        assert_eq!(serde_json::to_string(&Volume::from_ml(120.0)).unwrap(), "120");
        assert_eq!(serde_json::to_string(&Volume::from_ml(2.5)).unwrap(), "2.5");
        assert_eq!(serde_json::from_str::<Volume>("118.294").unwrap(), Volume::from_oz(4.0));
    }
}
