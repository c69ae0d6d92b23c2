// Package dashboard is the pages: a file, a struct and a template per page.
//
// Pages work without JavaScript, which only saves clicks. They carry no inline
// style or script, so that the content security policy can forbid both; what
// is drawn is SVG with classes that the one stylesheet colours.
//
// No page says that a brake is safe. Every page with a limit or a forecast
// ends with the cautions, and a forecast clears no axle that was last measured
// at or below its limit, or too long ago.
package dashboard
