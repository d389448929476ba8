package guide

import (
	"fmt"
	"io"
)

// evidence is what the program says of a yard, what it says it by, and what nobody may
// take it for.
var evidence = []struct{ says, by, not string }{
	{"4.0 h served (sent, not measured)",
		"This computer's kernel took every data packet of every universe that the string is on. Packets that it or the controller refused, frames that were skipped or withheld, and time under somebody's hold are not served hours.",
		"That a packet arrived, that the controller put it on its port, or that a pixel lit."},
	{"4.0 h served (arrived at the far end)",
		"--watch heard each of those packets on another interface, wired to the far end.",
		"That it arrived at other ends of the network too, or anything behind the controller's network socket. What is sent by unicast cannot be heard there: then the line says sent, not measured."},
	{"0.012 % of 4200000 packets lost",
		"The packets sent, held against those heard. Silence after sending is loss, and an outage of over 2.5 s is told in seconds besides.",
		"Anything about the time in which the watched interface was down or gone: that is neither heard nor lost, and exported as nothing."},
	{"12 packets were refused",
		"The error that this computer's kernel gave, or that the controller's own computer sent back.",
		"That those which were not refused arrived."},
	{"held dark by anna's phone since 18:02",
		"From then on every universe of the plan is sent dark, but for channels that the plan reserves for something else, until somebody lifts it: through time, reload, restart and kill. \"kept\" says whether that is on disk.",
		"That the yard is dark: another source of higher priority, or a controller that lost its data, may light it. That it is safe to touch: dark is not off. Before you work on the wires, switch off the mains and keep it off, as your local rules say."},
	{"proof: good",
		"A person looked, at this stage and at what the line says was shown.",
		"Anything after that moment, at another stage, or of the spare that hangs there now: a spare begins unproved."},
	{"11.4 volts at the last pixel",
		"A person read a meter. Beside it stands what was expected of the plan at that level.",
		"That the meter is right, that it was held there, or that the plan has the true wire."},
	{"film: good",
		"Every pixel of the string was seen in the film, and showed its own address and its three colours.",
		"Anything that the camera did not see: that is \"not seen\", never good. Nothing of volts and amperes."},
	{"look: all lit",
		"A person said so, at that time.",
		"That every string was looked at."},
	{"level allowed: 62 %",
		"The plan's wires, fuses and supplies, computed.",
		"That the yard is wired as the plan says. A level protects nothing: a noisy data line can light everything. Only a fuse protects a wire."},
	{"Nobody was heard on eth0",
		"The universes of the plan were listened to on that interface, in turns.",
		"That nobody sends elsewhere, by unicast to a controller, or since then."},
	{"the streams are terminated",
		"The kernel took packets that tell the end of each stream (ANSI E1.31-2018 clause 6.2.6). Universes for which it took none are named.",
		"That each receiver got one. One that did not notices after 2.5 s (clause 6.7.1)."},
	{"on record",
		"The line was on disk before it was acknowledged, and the file was still the one that was opened.",
		"That this disk lives longer than the season: copy the state directory."},
}

// WriteEvidence writes what is certified, by what evidence, and what it does not prove.
func WriteEvidence(w io.Writer) {
	fmt.Fprint(w, "What yardproof says of a yard, by what evidence, and what it does not prove:\n")
	for _, e := range evidence {
		fmt.Fprintf(w, "\n%s\n", e.says)
		writeEntry(w, "by", e.by)
		writeEntry(w, "does not prove", e.not)
	}
}
