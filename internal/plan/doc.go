// Package plan books brake jobs into workshop days. It is pure: it reads no
// clock, file or chance, and the same problem gives the same bits whatever the
// order of its parts.
//
// The way in is
//
//	Solve(ctx context.Context, p *Problem, opt Options) (*Plan, error)
//
// # The problem
//
// A vehicle's jobs are shared out over visits, each a shop and a day, or left.
// With x one way to do a group of jobs together on a day at a shop, the plan is
//
//	min Σ cost·x + Σ_slot overtime·o
//	each job in one x; Σ minutes·x ≤ normal + o, o ≤ over; Σ visits·x ≤ bays
//	a vehicle in one place a day
//
// where cost holds the lining thrown away, the risk of being past the limit, the
// visit and what moving an earlier proposal costs (see costOf). Going beyond the
// accepted risk where the calendar has a day within it costs more than lining,
// visits and hours can win, so that no axle does where a plan keeps all within it.
// Where some cannot be kept within it, the risks are weighed: an axle that is beyond
// already and gets worse quickly may come before one that would go just beyond.
//
// # How it is solved
//
// The problem splits where nothing joins two shops. Of each part: Lagrangian
// relaxation of the capacities (room), climbed by the volume algorithm; a first
// plan guided by its prices; then, round by round, ruin and recreate, the best way
// to share what two slots hold (trader), and all choices of a few related vehicles;
// beside them the relaxation of each job being done once (cover), whose slots are
// knapsacks, to know when to stop. Small problems are gone through whole.
//
// # References
//
// Fisher, The Lagrangian Relaxation Method for Solving Integer Programming Problems
// (1981); Barahona and Anbil, The volume algorithm (2000); Schrimpf et al., Record
// Breaking Optimization Results Using the Ruin and Recreate Principle (2000); all
// from memory.
package plan
