// Package fleet holds the words of the trade as types: fleets, depots,
// vehicles, axles with their specification, readings, fitments, findings,
// and the errors everything above agrees on.
//
// It imports the standard library only and never reads a clock, a file or a
// database.
package fleet
