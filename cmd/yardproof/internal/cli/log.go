package cli

import (
	"io"
	"log/slog"
	"os"
)

// NewLogger writes events to w, without a time where the journal adds its own.
func NewLogger(w io.Writer) *slog.Logger {
	options := &slog.HandlerOptions{}
	if os.Getenv("JOURNAL_STREAM") != "" {
		options.ReplaceAttr = func(groups []string, a slog.Attr) slog.Attr {
			if len(groups) == 0 && a.Key == slog.TimeKey {
				return slog.Attr{}
			}
			return a
		}
	}
	return slog.New(slog.NewTextHandler(w, options))
}
