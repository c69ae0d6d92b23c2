// Package findings works out what the data of a vehicle show that a person
// should look at: uneven wear, parts past their stamped limits, readings that
// disagree, odometers that ran back, parts changed without a record.
//
// It is pure, and the same data give the same findings with the same subjects.
// Thresholds are published values, from internal/rules; what has no published
// value is tested against the error of the readings.
package findings
