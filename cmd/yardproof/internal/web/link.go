package web

import (
	"fmt"
	"io"
)

// PrintLink writes a link to out, and its QR code with a word on it to talk.
func PrintLink(out, talk io.Writer, link string) error {
	code, err := QR(link)
	if err != nil {
		return err
	}
	fmt.Fprint(talk, code)
	fmt.Fprintln(out, link)
	fmt.Fprintln(talk, "good once, for ten minutes; yardproof link makes another")
	return nil
}
