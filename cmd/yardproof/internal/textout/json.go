package textout

import (
	"encoding/json"
	"io"
)

// JSON writes an answer as indented JSON.
func JSON(w io.Writer, answer any) error {
	enc := json.NewEncoder(w)
	enc.SetIndent("", "  ")
	enc.SetEscapeHTML(false)
	return enc.Encode(answer)
}
