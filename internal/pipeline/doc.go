// Package pipeline holds the verbs of brakewear: take a file in, refit the
// forecasts, forecast one vehicle, plan the workshops. It joins the store with the pure packages;
// a button, a subcommand and a scheduled job that do the same thing call the
// same function here. It knows nothing of HTTP, pages or flags.
package pipeline
