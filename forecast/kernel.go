package forecast

import "math"

// driftIntegral is half the variance of the integral, over a stretch of
// length d, of a stationary Ornstein-Uhlenbeck process with sd 1 and
// correlation length ell:
//
//	G(d) = ell^2 (|d|/ell + exp(-|d|/ell) - 1)
//
// Covariances of integrals over any two stretches follow from it, because the
// increments of the integral are stationary:
//
//	cov(int_a^t, int_b^u) = G(t-b) + G(u-a) - G(t-u) - G(a-b)
//
// which for a = b = 0 is the K(t,u) usually given.
func driftIntegral(d, ell float64) float64 {
	x := math.Abs(d) / ell
	if x < 1e-3 { // the closed form cancels; its series does not
		return ell * ell * x * x * (0.5 - x*(1.0/6-x/24))
	}
	return ell * ell * (x + math.Exp(-x) - 1)
}

// driftCov is the covariance of the integrals from a to t and from b to u.
func driftCov(a, t, b, u, ell float64) float64 {
	return driftIntegral(t-b, ell) + driftIntegral(u-a, ell) -
		driftIntegral(t-u, ell) - driftIntegral(a-b, ell)
}
