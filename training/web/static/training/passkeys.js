/* Passkeys (WebAuthn): adding one, signing in with one, confirming a signature with one.
 *
 * A confirmation is over a statement of what is signed: the kind of act, the student, the record, and the hash of its
 * content (sha256:…). The challenge is the SHA-256 of the statement's canonical JSON (RFC 8785), so that it can be made
 * and signed without a network; the server takes the answer with the request and keeps it in the ledger. The statement
 * has a number of the server's too (nonce), used once: a tablet takes some along.
 */

import { filled, gettext } from "./words.js";

/** Whether this browser has passkeys, on this page. They need https, or localhost by name. */
export function available() {
  return Boolean(window.isSecureContext && window.PublicKeyCredential && navigator.credentials);
}

/** Make a passkey. `options`: as the server gives them, `{publicKey: …}`. Gives what the server is to be sent. */
export async function register(options) {
  const asked = structuredClone(options.publicKey);
  asked.challenge = bytes(asked.challenge);
  asked.user.id = bytes(asked.user.id);
  asked.excludeCredentials = described(asked.excludeCredentials);
  asked.authenticatorSelection = {
    ...asked.authenticatorSelection, residentKey: "required", requireResidentKey: true, userVerification: "required",
  };
  const made = await navigator.credentials.create({ publicKey: asked });
  return {
    ...answered(made),
    response: {
      clientDataJSON: text(made.response.clientDataJSON),
      attestationObject: text(made.response.attestationObject),
      transports: made.response.getTransports ? made.response.getTransports() : [],
    },
  };
}

/** Sign in, or confirm who one is. `options`: as the server gives them, `{publicKey: …}`. */
export async function login(options) {
  const asked = structuredClone(options.publicKey);
  asked.challenge = bytes(asked.challenge);
  asked.allowCredentials = described(asked.allowCredentials);
  return assertion(asked);
}

/**
 * Confirm a signature: gives the `passkey` of a request that signs.
 *
 * `said`: what is signed, as `statement` makes it. `allow`: the ids of the user's passkeys, where the page knows them;
 * else the browser offers every one it has for this site. `nonce`: one that is on this device; else it is fetched.
 */
export async function confirm(said, { allow = [], nonce = "" } = {}) {
  const signed = { ...said, format: "signing-statement/2", nonce: nonce || await fetchNonce() };
  const answer = await assertion({
    challenge: await sha256(canonical(signed)),
    rpId: location.hostname,
    allowCredentials: allow.map((id) => ({ type: "public-key", id: bytes(id) })),
    userVerification: "required",
    timeout: 120000,
  });
  const { clientDataJSON, authenticatorData, signature } = answer.response;
  return { id: answer.id, nonce: signed.nonce, response: { clientDataJSON, authenticatorData, signature } };
}

async function fetchNonce() {
  const answer = await fetch("/api/v1/auth/nonce", { headers: { Accept: "application/json" } }).catch(() => null);
  if (!answer?.ok) throw new Error(gettext("no network to the school. Try again, or use your password."));
  return (await answer.json()).nonce;
}

/**
 * What is signed, but for the nonce. `kind`: lesson.signed, lesson.acknowledged, endorsement.given or endorsement.revoked; `subject`: the
 * student's reference; `about`: the id of the lesson record or endorsement; `hash`: its content_hash.
 */
export function statement({ kind, subject, about, hash }) {
  return { kind, subject, about, content_hash: hash };
}

/** The content_hash of something in JSON: `sha256:…` over its canonical form. */
export async function contentHash(value) {
  const digest = new Uint8Array(await sha256(canonical(value)));
  return "sha256:" + Array.from(digest, (each) => each.toString(16).padStart(2, "0")).join("");
}

/** Canonical JSON (RFC 8785): keys by their UTF-16 units; numbers and texts as JSON.stringify writes them. */
export function canonical(value) {
  if (Array.isArray(value)) return `[${value.map(canonical).join(",")}]`;
  if (value === null || typeof value !== "object") return JSON.stringify(value);
  return `{${Object.keys(value).sort().map((key) => `${JSON.stringify(key)}:${canonical(value[key])}`).join(",")}}`;
}

/** Why it did not work, for the person. */
export function reason(error) {
  switch (error.name) {
    case "NotAllowedError": return gettext("Canceled, timed out, or this device has no passkey for this account.");
    case "InvalidStateError": return gettext("This device already has a passkey for this account.");
    case "SecurityError": return gettext("This browser cannot use passkeys at this address. Open the page by its host name over https.");
    default: return filled(gettext("Passkey not used: %(why)s"), { why: error.message });
  }
}

async function assertion(asked) {
  const made = await navigator.credentials.get({ publicKey: asked });
  return {
    ...answered(made),
    response: {
      clientDataJSON: text(made.response.clientDataJSON),
      authenticatorData: text(made.response.authenticatorData),
      signature: text(made.response.signature),
      userHandle: made.response.userHandle ? text(made.response.userHandle) : null,
    },
  };
}

function answered(made) {
  return {
    id: made.id, rawId: text(made.rawId), type: made.type,
    authenticatorAttachment: made.authenticatorAttachment || null,
    clientExtensionResults: made.getClientExtensionResults(),
  };
}

function described(listed) {
  return (listed || []).map((each) => ({ ...each, id: bytes(each.id) }));
}

function sha256(words) {
  return crypto.subtle.digest("SHA-256", new TextEncoder().encode(words));
}

function bytes(base64url) {
  const plain = atob(base64url.replace(/-/g, "+").replace(/_/g, "/"));
  return Uint8Array.from(plain, (each) => each.charCodeAt(0));
}

function text(buffer) {
  const plain = Array.from(new Uint8Array(buffer), (each) => String.fromCharCode(each)).join("");
  return btoa(plain).replace(/\+/g, "-").replace(/\//g, "_").replace(/=+$/, "");
}
