package rehearsal

import (
	"fmt"
	"io"

	"yardproof/cmd/yardproof/internal/rehearsal/yard"
)

// WriteFaults writes the kinds of faults, and how one is planted.
func WriteFaults(w io.Writer) {
	fmt.Fprint(w, "The faults that yardproof rehearse can plant. --fault takes KIND,STRING, then what the kind needs:\n\n")
	for _, k := range yard.Kinds() {
		takes := ""
		if k.Swap {
			takes += ",OTHER-STRING"
		}
		switch k.At {
		case yard.Pixel:
			takes += ",PIXEL"
		case yard.Joint:
			takes += ",PIXEL-AHEAD"
		case yard.Feed:
			takes += ",FEED"
		}
		if k.Unit != "" {
			takes += fmt.Sprintf("[,SEVERITY]  %s, usually %g to %g", k.Unit, k.Range[0], k.Range[1])
		}
		fmt.Fprintf(w, "  %s,STRING%s\n", k.Kind, takes)
	}
	fmt.Fprint(w, "\nPixels and feeds count from 1. A joint is named by the pixel ahead of it. For example:\n"+
		"  yardproof rehearse --demo --fault \"bad joint in V+,quay-rail-west,40,0.25\"\n")
}
