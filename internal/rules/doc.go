// Package rules holds what laws, inspection manuals and the trade ask of
// brakes, as data: published values with their source and section (values.csv),
// which of them make up each rule set and what they apply to (uses.csv), the
// thresholds of findings (thresholds.csv) and the values that stand in where
// nothing is known of an axle (standins.csv). It is pure.
//
// None of it was checked against the law in force today, and none is legal
// advice: the maker's data, local codes and a licensed technician decide.
//
// Where several values of a set may apply, because something is not known of
// the vehicle or because the rule depends on what the program does not keep,
// the strictest is taken and the others are handed over beside it.
package rules
