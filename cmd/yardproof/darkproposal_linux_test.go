package main

import (
	"fmt"
	"strings"
	"time"

	"yardproof/sacn/sacntest"
)

// propose has the page work out power for the whole plan, and waits until it does.
func (y *darkYard) propose() {
	y.looking = y.open(strangerAt(18))
	fmt.Fprintf(y.looking, "POST /api/proposal HTTP/1.1\r\nHost: %s\r\nCookie: %s\r\nContent-Type: application/json\r\nContent-Length: 2\r\n\r\n{}", darkPage, y.cookie)
	sacntest.Eventually(y.t, 30*time.Second, "looking for power", func() bool {
		return strings.Contains(y.told(), `{"is":"looking"`)
	})
}

// told is what has come of the proposal since it was asked for last.
func (y *darkYard) told() string {
	y.looking.SetReadDeadline(time.Now().Add(time.Millisecond))
	text := make([]byte, 1<<16)
	n, _ := y.looking.Read(text)
	return string(text[:n])
}

// proposing says why a proposal is not being worked out any more.
func (y *darkYard) proposing(darkState) string {
	if told := y.told(); !waits(y.looking) || strings.Contains(told, "HTTP/") || strings.Contains(told, `"is":"done"`) || strings.Contains(told, `"is":"failed"`) {
		return "it is at its end: " + told
	}
	return ""
}
