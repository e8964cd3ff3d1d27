//! A list that most often holds one.

use std::ops::Deref;
use std::slice::Iter;

/// A list as a slice; one alone is held in place.
#[derive(Debug, Clone)]
pub enum Few<T> {
    /// One.
    One([T; 1]),
    /// Any number.
    Many(Vec<T>),
}

impl<T> Deref for Few<T> {
    type Target = [T];

    fn deref(&self) -> &[T] {
        match self {
            Few::One(one) => one,
            Few::Many(many) => many,
        }
    }
}

impl<T: PartialEq> PartialEq for Few<T> {
    fn eq(&self, other: &Self) -> bool {
        **self == **other
    }
}

impl<T> From<Vec<T>> for Few<T> {
    fn from(many: Vec<T>) -> Self {
        Few::Many(many)
    }
}

impl<'a, T> IntoIterator for &'a Few<T> {
    type Item = &'a T;
    type IntoIter = Iter<'a, T>;

    fn into_iter(self) -> Iter<'a, T> {
        self.iter()
    }
}
