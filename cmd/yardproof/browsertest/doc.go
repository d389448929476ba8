// Package browsertest drives the yard page in a real browser, Debian's Chromium,
// served by the real program. It is a module of its own, so that the program's
// go.mod lists what ships.
package browsertest
