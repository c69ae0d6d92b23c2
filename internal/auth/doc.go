// Package auth says who may see and change what. So far that is the scope of
// fleets and depots which every store method on fleet data takes: nobody signs
// in yet. It is pure, and never reads a request.
package auth
