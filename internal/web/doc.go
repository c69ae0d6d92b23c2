// Package web is the glue that the pages and the API share: handlers that
// return an error, the one place that turns an error into an answer, who may ask
// for what (Routes, Guard), sessions, recovery, access log, limits, headers and
// static files. It never knows what a page or an answer is about.
package web
