package storetest

// DebianBins is where servers are looked for beside PATH.
var DebianBins = &debianBins
