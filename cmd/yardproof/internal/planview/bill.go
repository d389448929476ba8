package planview

import (
	"fmt"
	"io"
	"math"
	"strings"

	"yardproof/cmd/yardproof/internal/textout"
	"yardproof/config/design"
)

// Bill prints what the plan takes as a whole, with spares, against what is in stock:
// as csv, text or json.
func (v *View) Bill(w io.Writer, format string) error {
	b := design.BillOf(v.plan)
	switch format {
	case "json":
		return textout.JSON(w, b)
	case "text":
		var out strings.Builder
		printBill(&out, b)
		_, err := io.WriteString(w, out.String())
		return err
	}
	out := textout.NewCSV(w)
	out.Row("item", "what", "quantity", "spare", "in hand", "to buy", "unit", "price", "cost", "for")
	for _, it := range b.Items {
		out.Row(it.Kind, it.What, it.Need, it.Spare, it.Have, it.Buy, unit(it), price(it.Price), price(it.Cost), textout.Some(it.For, 20))
	}
	return out.Flush()
}

// printBill prints a bill as text: what to cut, and what to buy.
func printBill(b *strings.Builder, bill *design.Bill) {
	if len(bill.Cuts) > 0 {
		b.WriteString("To cut\n")
		t := textout.NewTable("  wire", ">pieces", ">metres each", "for")
		for _, c := range bill.Cuts {
			t.Add("  "+c.Wire, textout.Number(float64(c.Pieces)), textout.Number(math.Round(1000*c.Metres)/1000), textout.Some(c.For, 6))
		}
		t.Print(b)
		b.WriteString("\n")
	}
	b.WriteString("To buy\n")
	t := textout.NewTable("  item", "what", ">needed", ">spare", ">in hand", ">to buy", "unit", ">price", ">cost")
	for _, it := range bill.Items {
		t.Add("  "+it.Kind, it.What, textout.Number(it.Need), textout.Number(it.Spare), textout.Number(it.Have), textout.Number(it.Buy), it.Unit, price(it.Price), price(it.Cost))
	}
	t.Print(b)
	switch {
	case bill.Cost == 0 && len(bill.Unpriced) > 0:
		b.WriteString("  What it costs is not known: the plan gives no prices under stock")
	case len(bill.Unpriced) > 0:
		fmt.Fprintf(b, "  To buy costs %s, not counting %s without a price in stock", money(bill.Cost), textout.Count(len(bill.Unpriced), "item"))
	default:
		fmt.Fprintf(b, "  To buy costs %s", money(bill.Cost))
	}
	b.WriteString(".\n  Spare: a tenth of the wire, one pixel in twenty (common practice, no source). A metre is one of both conductors. What you take out is not counted as in hand.\n")
}

// unit is what an item is counted in.
func unit(it design.Item) string {
	switch {
	case it.Kind == "wire":
		return "m of two conductors"
	case it.Unit != "":
		return it.Unit
	}
	return "" // pieces
}

// price is a sum of money; "": none is known.
func price(v float64) string {
	if v == 0 {
		return ""
	}
	return money(v)
}
