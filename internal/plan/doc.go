// Package plan books brake jobs into workshop days. It is pure: it reads no
// clock, file or chance, and the same problem gives the same bits whatever the
// order of its parts and the number of processors.
//
// The way in is
//
//	Solve(ctx context.Context, p *Problem, opt Options) (*Plan, error)
package plan
