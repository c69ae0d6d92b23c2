// Package chart draws readings and forecasts with gonum/plot, as SVG for a
// page or a file and as PNG. It is pure: the same input gives the same picture.
//
// Colours are inks by meaning. In SVG each is a class beside a plain colour,
// so that a page's stylesheet may recolour the chart (dark mode, print) and a
// file on its own still shows. Nothing is told by colour alone: positions have
// marks of their own, lines their labels.
package chart
