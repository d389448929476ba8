// Package design finds what the other rooms check: where to feed a string, with which
// wire, behind which fuse and from which supply at least cost; and which string goes to
// which port with the fewest plugs moved. It is a search by branch and bound. With
// constant current, another conductor from the source never lowers the volts of any
// pixel, so that what fails with every lead at its thickest is given up at once; what
// fuses do knows no such order, so every answer is judged by config/budget and
// config/protection before it is given, and none with a finding is. It refuses to know
// about files and about light, and to release anything: an answer helps a licensed
// person and replaces none.
package design
