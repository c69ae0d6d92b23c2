// Package forecast says when a brake part reaches its limit, and how sure
// that is. It is pure numerics on gonum: it never reads a clock, a file, a
// database or a random source, and the same input gives the same bits.
//
// The way of one forecast:
//
//	Vehicle  -> Track    the odometer, cleaned and made continuous
//	         -> []Series one part's life at one position each
//	         -> Model    thickness against distance, with its uncertainty
//	         -> Crossing distance and day at which the limit is reached
//
// Units: thickness in mm, distance in km, time in days since 1970-01-01.
// Wear rates are mm per km inside; people are shown mm per 10,000 km.
package forecast
