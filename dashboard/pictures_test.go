package dashboard

import (
	"bytes"
	"cmp"
	"context"
	"flag"
	"fmt"
	"image"
	"image/color"
	"image/png"
	"maps"
	"net/http/httptest"
	"os"
	"path/filepath"
	"slices"
	"testing"

	"github.com/chromedp/chromedp"

	"brakewear/internal/auth"
	"brakewear/internal/demo"
	"brakewear/internal/fleet"
	"brakewear/internal/pipeline"
)

var pictures = flag.String("pictures", "", "folder to draw the README's pictures into")

// TestPictures draws the README's pictures from the demo fleet: what a desk or
// a phone shows of a page without scrolling. It is no test of anything else.
func TestPictures(t *testing.T) {
	if *pictures == "" {
		t.Skip("`make screenshots` asks for pictures")
	}
	w := empty(t)
	w.svc.Model = pipeline.DefaultModel
	today := fleet.DateOf(now)
	for _, step := range []func(context.Context) error{
		func(ctx context.Context) error { return demo.TakeIn(ctx, w.svc, demo.Island(today)) },
		func(ctx context.Context) error {
			_, err := w.svc.Replay(ctx, auth.AllFleets(), []fleet.Date{today - 180, today - 90})
			return err
		},
		func(ctx context.Context) error {
			_, err := w.svc.Refit(ctx, auth.AllFleets(), nil, today)
			return err
		},
		func(ctx context.Context) error { return demo.Plan(ctx, w.svc) },
	} {
		if err := step(t.Context()); err != nil {
			t.Fatal(err)
		}
	}
	ctx := browser(t)
	srv := httptest.NewServer(w.handler)
	defer srv.Close()
	bus := w.vehiclePath(t, "Bus 112")
	for _, p := range []struct {
		name, path, from, theme string // from: what is at the top
		width                   int64
	}{
		{"to-book", "/", "body", "light", desk},
		{"plan", "/plan?week=2026-03-09", "body", "light", desk},
		{"vehicle", bus, "#axle-1", "dark", desk},
		{"measure", bus + "/measure", "#w-1-left", "light", phone},
	} {
		look(t, ctx, p.width, p.theme, srv.URL+p.path)
		eval[bool](t, ctx, fmt.Sprintf(`document.querySelector(%q).scrollIntoView({behavior: "instant"}), true`, p.from))
		shot, err := chromedp.Run(ctx, chromedp.CaptureScreenshot())
		if err != nil {
			t.Fatal(err)
		}
		full, err := png.Decode(bytes.NewReader(shot))
		if err != nil {
			t.Fatal(err)
		}
		var b bytes.Buffer
		enc := png.Encoder{CompressionLevel: png.BestCompression}
		if err := enc.Encode(&b, fewColours(full)); err != nil {
			t.Fatal(err)
		}
		if err := os.WriteFile(filepath.Join(*pictures, p.name+".png"), b.Bytes(), 0o644); err != nil {
			t.Fatal(err)
		}
	}
}

// pictureColours are enough for our few hues with their soft edges, and make a
// picture of a page a quarter as large.
const pictureColours = 128

// fewColours returns a picture in its most frequent colours, every other
// replaced by the nearest of them.
func fewColours(m image.Image) image.Image {
	count := map[color.RGBA]int{}
	b := m.Bounds()
	at := func(x, y int) color.RGBA { return color.RGBAModel.Convert(m.At(x, y)).(color.RGBA) }
	for y := b.Min.Y; y < b.Max.Y; y++ {
		for x := b.Min.X; x < b.Max.X; x++ {
			count[at(x, y)]++
		}
	}
	colours := slices.SortedFunc(maps.Keys(count), func(p, q color.RGBA) int {
		return cmp.Or(cmp.Compare(count[q], count[p]), cmp.Compare(p.R, q.R), cmp.Compare(p.G, q.G), cmp.Compare(p.B, q.B))
	})
	var palette color.Palette
	for _, c := range colours[:min(pictureColours, len(colours))] {
		palette = append(palette, c)
	}
	index := make(map[color.RGBA]uint8, len(count))
	for c := range count {
		index[c] = uint8(palette.Index(c))
	}
	out := image.NewPaletted(b, palette)
	for y := b.Min.Y; y < b.Max.Y; y++ {
		for x := b.Min.X; x < b.Max.X; x++ {
			out.SetColorIndex(x, y, index[at(x, y)])
		}
	}
	return out
}
