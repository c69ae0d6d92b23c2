package store

import "context"

// KeptCounts are counts that are kept.
type KeptCounts struct{ c cache[int] }

// Of is the count of the one query there is, which read reads, in a version.
func (k *KeptCounts) Of(ctx context.Context, version string, read func() (int, error)) (int, error) {
	return kept(&tx{ctx: ctx, version: version}, &k.c, maxCounts, "", nil, read)
}
