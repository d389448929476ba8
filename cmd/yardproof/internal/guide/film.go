package guide

import (
	"fmt"
	"io"
)

// WriteFilm writes how to film, so that a film can be read and nobody is hurt.
func WriteFilm(w io.Writer) {
	fmt.Fprint(w, "How to film a yard, with any phone:\n\n")
	for _, e := range []struct{ key, does string }{
		{"ladders", "nobody stands on a ladder to film, or while you film. The lights blink, at most 2.5 times a second: tell whoever cannot bear flashing light"},
		{"show", "the pattern code, on all strings: --pattern code, or Blink the addresses on the page. In the dark; other lamps off, where you may"},
		{"how near", "each light at least 5 dots of the film from the next: 1920 dots wide are 384 lights side by side. A larger yard is filmed in parts"},
		{"how still", "the phone leans on a wall or a post. No zoom, no walking"},
		{"how long", "20 seconds; fewer than 16, or more than 90, are not read. At least 8 frames a second: no time lapse, and no slow motion"},
		{"colours", "no night mode, no black and white. Lights that look too bright are read all the same"},
		{"who is in it", "whoever passes by. The film stays on the phone, or where your file is. Pictures of it are kept in memory until they are read, and no longer: a picture is kept only with --still, --keep-picture, or a tick on the page"},
	} {
		writeEntry(w, e.key, e.does+".")
	}
	fmt.Fprint(w, "\n\"Not seen\" is not dead: a branch looks the same. Film from another side (--also), or walk there.\n")
}
