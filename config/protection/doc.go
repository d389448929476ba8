// Package protection works out what a plan does in a fault: the greatest current
// that each piece of wire can carry while no fuse opens, how far from a fuse a
// short is still seen, and what the return wires carry when one of them is open.
// Every conductor is a network of its own, so an open return or a blown fuse is a
// change on one of two rails. It refuses to know about light, and to release
// anything: its findings help a licensed person and replace none.
//
// What is assumed: all supplies of a string give the same volts and share a return;
// a fault joins V+ and return at a pixel, with any resistance; pixels draw nothing
// or their full white, and so do the other strings on a feeder, which lead nothing back.
// What all of them at full white do to a return while another is open, [budget] works out.
package protection
