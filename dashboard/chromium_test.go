package dashboard

import (
	"context"
	"errors"
	"fmt"
	"os"
	"os/exec"
	"sync"
	"testing"
	"time"

	"github.com/chromedp/chromedp"
)

// browser opens a tab for the test in a headless Chromium, or skips where there is none;
// BRAKEWEAR_REQUIRE_BROWSER=1 makes that a failure. All tests share the one process,
// and no two share cookies, a cache or what a page keeps.
func browser(t *testing.T) context.Context {
	t.Helper()
	shared, err := chromium()
	if errors.Is(err, exec.ErrNotFound) {
		const how = "no Chromium here: `make test` installs it (Debian: apt-get install chromium)"
		if os.Getenv("BRAKEWEAR_REQUIRE_BROWSER") == "1" {
			t.Fatal(how)
		}
		t.Skip(how)
	}
	if err != nil {
		t.Fatal(err)
	}
	ctx, cancel := chromedp.NewContext(shared, chromedp.WithNewBrowserContext())
	t.Cleanup(func() {
		if err := chromedp.Cancel(ctx); err != nil && !errors.Is(err, context.Canceled) {
			t.Logf("close the tab: %v", err)
		}
		cancel()
	})
	if err := chromedp.Do(ctx); err != nil {
		t.Fatalf("open a tab: %v", err)
	}
	// From here on the test ends even if the browser hangs.
	limited, stop := context.WithTimeout(ctx, 15*time.Minute)
	t.Cleanup(stop)
	return limited
}

// chromium starts the browser, once for the process; closeChromium, where it is
// not nil, ends it.
var (
	chromium = sync.OnceValues(func() (context.Context, error) {
		path, err := "", exec.ErrNotFound
		for _, name := range []string{"chromium", "chromium-browser", "google-chrome"} {
			if path, err = exec.LookPath(name); err == nil {
				break
			}
		}
		if err != nil {
			return nil, err
		}
		dir, err := os.MkdirTemp("", "brakewear-chromium-*")
		if err != nil {
			return nil, err
		}
		opts := []chromedp.ExecAllocatorOption{chromedp.ExecPath(path), chromedp.Headless, chromedp.NoSandbox, chromedp.DisableGPU,
			chromedp.NoFirstRun, chromedp.UserDataDir(dir)}
		for _, name := range []string{"disable-quic", "disable-background-networking", "disable-component-update", "disable-sync", "hide-scrollbars"} {
			opts = append(opts, chromedp.Flag(name, true))
		}
		ctx, cancelAllocator := chromedp.NewExecAllocator(context.Background(), opts...)
		ctx, cancel := chromedp.NewContext(ctx)
		closeChromium = func() {
			_ = chromedp.Cancel(ctx) // the process goes in either case
			cancel()
			cancelAllocator()
			os.RemoveAll(dir)
		}
		if err := chromedp.Do(ctx); err != nil {
			return nil, fmt.Errorf("start %s: %w", path, err)
		}
		return ctx, nil
	})
	closeChromium func()
)

// must runs steps in the browser.
func must(t *testing.T, ctx context.Context, steps ...chromedp.Action[chromedp.Void]) {
	t.Helper()
	if err := chromedp.Do(ctx, steps...); err != nil {
		t.Fatal(err)
	}
}
