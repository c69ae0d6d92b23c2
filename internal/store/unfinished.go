package store

import "errors"

var errUnfinished = errors.New("store: under construction")
