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
// # The full model
//
// Full models a whole axle. Given theta, the log of a part set's wear rate
// r = exp(theta), the values h_j of its places at distance s since fitting are
// jointly normal:
//
//	h_j(s) = h0_j - r (f_j s + I(s) + I_side(s) + I_j(s) + d_side s + e_j s) - r^2 A q_j(s)
//
// with drift I that comes and goes (integrated Ornstein-Uhlenbeck), lasting
// differences d and e, and wear that gathers or loses pace A. A reading adds
// the errors of its visit and of its gauge. The covariance of n readings is
// N + r^2 B + r^4 var(A) q q', brought to tridiagonal form once, so that each
// theta costs O(n).
//
//   - theta is summed over a grid, its prior being the fleet's (Params) given
//     what the vehicle's other sets say of theirs (Message).
//   - Sets are cut by declared fittings and, where the evidence is for new
//     parts, by unrecorded ones.
//   - A reading is set aside when the evidence for the rest says it was
//     mistyped. A thin one that a dragging caliper may explain is believed
//     until measured again, if that makes the date earlier.
//   - A dragging caliper is a change of pace of one side, weighed over its
//     onset and strength.
//   - A sensor's signal cuts off the forecast of the value above its own.
//   - The axle reaches its limit with the first of its places:
//     P(T > s) = sum over theta of P(all h_j(s) > limit), by one common factor.
//     Rotors and drums wear at a share of the rate of what rubs on them, apart
//     from that independently.
//   - TailMap widens the result to what came true.
//   - Distance becomes days by Usage.
//
// Literature: Lu & Meeker 1993 (random rates); Gebraeel et al. 2005 (Bayesian
// update of degradation signals); Adams & MacKay 2007 (change points); Dunnett
// & Sobel 1955 (one factor). All from memory.
//
// Units: thickness in mm, distance in km, time in days since 1970-01-01.
// Wear rates are mm per 1000 km in Full and Pooled, whose distances are in
// 1000 km, and mm per km in the simpler models; people are shown mm per
// 10,000 km.
package forecast
