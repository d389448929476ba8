// Package sacn holds the wire layouts and rules of ANSI E1.31-2018 (streaming
// ACN, "sACN") as pure functions: the data, synchronization and universe
// discovery packets, the multicast group of a universe, the sequence rule. It
// refuses to know about sockets, clocks and logs, so that every rule can be
// tested with bytes alone; sending and receiving live in sacn/source and
// sacn/listener.
//
// Clause and table numbers in comments are those of E1.31-2018. The clause
// texts were not at hand when this was written: layouts agree with an
// independent dissector field by field, rules marked "from memory" do not have
// that support.
package sacn
