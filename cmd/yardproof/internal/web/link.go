package web

import (
	"errors"
	"fmt"
	"io"
	"net"
	"net/url"
	"time"
)

// Answers reports why no page answers where a link leads; nil where one does.
func Answers(link string) error {
	at, err := url.Parse(link)
	if err != nil {
		return err
	}
	conn, err := net.DialTimeout("tcp", at.Host, time.Second)
	if _, ok := errors.AsType[*net.DNSError](err); ok { // phones may know the certificate's name; we need not
		return nil
	}
	if err != nil {
		return fmt.Errorf("nothing answers at %s", at.Host)
	}
	return conn.Close()
}

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
