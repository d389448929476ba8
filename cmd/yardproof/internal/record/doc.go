// Package record is the proof record: what was proved, read, noted and seen in the
// yard, one JSON line each, appended and flushed to disk before it is acknowledged.
// It refuses to know about plans, light and the network: a line carries all that
// is needed to judge it later.
//
// What a line certifies, by what evidence, and what it does not prove:
//
//	line            evidence                               does not prove
//	proof           a person's word, at that time          that it still is so, or that others would see the same
//	proof, reading  a meter's number, typed by a person    the meter; pixels whose current the meter cannot tell
//	burn-in, sent   packets that the kernel took           that they arrived, or that anything was lit
//	burn-in, arrived  packets heard on a watched interface  that the controller took them, or that anything was lit
//	look            a person's word, and what was shown    what happened between two looks
//	replaced        a person's word on a tag               that the tag is the string's; that the spare is good
//
// A hold is no line: its file in the state directory says who holds since when, and
// certifies only that frames were sent dark, not that every pixel obeyed.
package record
