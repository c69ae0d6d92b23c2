package main

import (
	"errors"
	"net/url"
	"strings"

	"brakewear/internal/auth"
	"brakewear/internal/fleet"
	"brakewear/internal/mail"
	"brakewear/internal/openid"
	"brakewear/internal/pipeline"
)

// reachedAt is the setting of where people reach the pages.
type reachedAt struct {
	URL string `help:"Address that people reach the pages at, for links in what is sent." env:"BRAKEWEAR_URL" placeholder:"https://HOST"`
}

// scheduled are the settings of scheduled work.
type scheduled struct {
	reachedAt

	BackupDir  string `help:"Folder of the nightly backups of the embedded database; beside it unless given." env:"BRAKEWEAR_BACKUP_DIR" placeholder:"DIR"`
	BackupKeep int    `help:"How many nightly backups are kept." env:"BRAKEWEAR_BACKUP_KEEP" default:"7"`

	SMTPHost     string `name:"smtp-host" help:"Mail server; no mail goes out without one. Its password is taken from BRAKEWEAR_SMTP_PASSWORD only." env:"BRAKEWEAR_SMTP_HOST" placeholder:"HOST"`
	SMTPPort     int    `name:"smtp-port" help:"Its port; 587, 465 or 25 by its security unless given." env:"BRAKEWEAR_SMTP_PORT" placeholder:"PORT"`
	SMTPSecurity string `name:"smtp-security" help:"starttls, tls from the first byte, or none for a relay on this machine." env:"BRAKEWEAR_SMTP_SECURITY" enum:"starttls,tls,none" default:"starttls"`
	SMTPUser     string `name:"smtp-user" help:"Name to sign in with there; none unless given." env:"BRAKEWEAR_SMTP_USER" placeholder:"NAME"`
	SMTPFrom     string `name:"smtp-from" help:"Sender of mail." env:"BRAKEWEAR_SMTP_FROM" placeholder:"ADDRESS"`
}

// elsewhere are the settings of signing in by OpenID Connect.
type elsewhere struct {
	OpenIDIssuer string `name:"openid-issuer" help:"Address of the OpenID Connect provider that people may sign in with; none unless given. Its secret is taken from BRAKEWEAR_OPENID_SECRET only." env:"BRAKEWEAR_OPENID_ISSUER" placeholder:"https://HOST"`
	OpenIDClient string `name:"openid-client" help:"Id under which the provider knows this installation." env:"BRAKEWEAR_OPENID_CLIENT" placeholder:"ID"`
	OpenIDName   string `name:"openid-name" help:"What the button to sign in with it says; its host unless given." env:"BRAKEWEAR_OPENID_NAME" placeholder:"NAME"`
}

// second is the setting of who must have a second factor.
type second struct {
	SecondFactor string `help:"Who must give a code of an app beside a password of ours: optional (who set it up), admins, or all; who has none sets it up at the next sign-in." env:"BRAKEWEAR_SECOND_FACTOR" enum:"optional,admins,all" default:"optional"`
}

// openidSecret is the variable of the secret that the provider knows us by.
const openidSecret = "BRAKEWEAR_OPENID_SECRET"

// secondKeys is the variable of the keys of second factors' secrets.
const secondKeys = "BRAKEWEAR_SECOND_KEY"

// keys are those of second factors' secrets.
func (e *env) keys() (auth.Keys, error) {
	keys, err := auth.ParseKeys(e.getenv(secondKeys))
	if err != nil {
		return keys, fleet.Invalidf("%s: %v", secondKeys, err)
	}
	return keys, nil
}

// set gives the setting to svc, and has secrets kept under the present key.
func (c second) set(e *env, svc *pipeline.Service) (err error) {
	svc.Second = pipeline.SecondRule(c.SecondFactor)
	if svc.Keys, err = e.keys(); err != nil {
		return err
	}
	sealed, lost, err := svc.SealSeconds(e.ctx)
	if errors.Is(err, fleet.ErrReadOnly) || errors.Is(err, fleet.ErrFull) {
		return nil // at another start
	}
	if sealed > 0 {
		e.log.Info("secrets of second factors are kept under the present key now", "secrets", sealed)
	}
	if lost > 0 {
		e.log.Warn("secrets of second factors cannot be read, and their owners need a recovery code: set the key that they were kept under, after a comma behind a newer one",
			"secrets", lost, "variable", secondKeys)
	}
	return err
}

// set gives the settings to svc, whose URL is set.
func (c elsewhere) set(e *env, svc *pipeline.Service) error {
	if c.OpenIDIssuer == "" {
		if c.OpenIDClient != "" {
			return fleet.Invalidf("OpenID client: its provider is missing, BRAKEWEAR_OPENID_ISSUER")
		}
		return nil
	}
	if svc.URL == "" {
		return fleet.Invalidf("OpenID issuer: the provider sends people back to our address, so BRAKEWEAR_URL must be set")
	}
	svc.OpenID = &openid.Provider{
		Issuer:   c.OpenIDIssuer,
		ClientID: c.OpenIDClient,
		Secret:   e.getenv(openidSecret),
		Name:     c.OpenIDName,
		Callback: strings.TrimSuffix(svc.URL, "/") + pipeline.BackPath,
	}
	return svc.OpenID.Validate()
}

// smtpPassword is the variable of the mail server's password. There is no flag
// of it, for others on the machine can read the command line.
const smtpPassword = "BRAKEWEAR_SMTP_PASSWORD"

// set gives the settings to svc.
func (c scheduled) set(e *env, svc *pipeline.Service) error {
	if c.URL != "" {
		u, err := url.Parse(c.URL)
		if err != nil || u.Scheme != "http" && u.Scheme != "https" || u.Host == "" || u.Path != "" && u.Path != "/" || u.RawQuery != "" {
			return fleet.Invalidf("address %q: want one such as https://brakes.example.org, without a path", c.URL)
		}
	}
	if c.BackupKeep < 1 {
		return fleet.Invalidf("backups kept: want at least 1")
	}
	svc.URL, svc.BackupDir, svc.BackupKeep = c.URL, c.BackupDir, c.BackupKeep
	if c.SMTPHost == "" {
		return nil
	}
	svc.Mail = &mail.Server{
		Host:     c.SMTPHost,
		Port:     c.SMTPPort,
		Security: c.SMTPSecurity,
		User:     c.SMTPUser,
		Password: e.getenv(smtpPassword),
		From:     c.SMTPFrom,
	}
	return svc.Mail.Validate()
}
