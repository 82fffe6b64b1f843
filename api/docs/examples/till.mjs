// A till in JavaScript, with fetch and node's own modules alone: opens a case, shows each question with
// its buttons, closes the case, and takes the event that says so, its signature checked.
// Usage: THREEWIRE_KEY=tw_... WEBHOOK_PORT=9911 WEBHOOK_SECRET=whsec_... node till.mjs ANSWER...
// ANSWER: the outcome that is chosen, or the number that is typed, a question each.
import crypto from "node:crypto";
import http from "node:http";

const { THREEWIRE_URL: url = "http://127.0.0.1:8000", THREEWIRE_KEY: key = "" } = process.env;
const { WEBHOOK_PORT: port, WEBHOOK_SECRET: secret = "" } = process.env;

async function ask(method, path, body, headers = {}) {
  const own = { "Content-Type": "application/json", ...(key && { Authorization: `Bearer ${key}` }) };
  if (method === "POST") own["Idempotency-Key"] = crypto.randomUUID();
  const answer = await fetch(url + path, {
    method, headers: { ...own, ...headers }, body: JSON.stringify(body),
  });
  const said = await answer.json();
  if (!answer.ok) throw new Error(`${said.status}: ${said.detail} ${JSON.stringify(said.errors)}`);
  return said;
}

/** Return whether these bytes came from threewire, within the last five minutes. */
function genuine(headers, body) {
  const { "webhook-id": id, "webhook-timestamp": sent, "webhook-signature": signed } = headers;
  if (!/^\d+$/.test(sent ?? "") || Math.abs(Date.now() / 1000 - Number(sent)) > 300) return false;
  const digest = crypto.createHmac("sha256", Buffer.from(secret.replace("whsec_", ""), "base64"));
  const right = Buffer.from("v1," + digest.update(`${id}.${sent}.`).update(body).digest("base64"));
  return signed.split(" ").map((one) => Buffer.from(one)).some(
    (one) => one.length === right.length && crypto.timingSafeEqual(one, right));
}

const closed = new Promise((resolve) => {
  if (!port) return resolve("no event was waited for");
  http.createServer(async (request, response) => {
    const body = Buffer.concat(await request.toArray());
    const good = genuine(request.headers, body);
    response.writeHead(good ? 204 : 400).end();
    const event = good ? JSON.parse(body) : {};
    if (event.type === "case.closed") resolve(`told: ${event.type} ${event.data.case.number}`);
  }).listen(Number(port), "127.0.0.1");
});

function shown(leading) { // a screen would draw it; the cautions stand before the question
  const { outcomes, unit, say, cautions } = leading.next_check;
  for (const text of [...leading.cautions.map((one) => one.text), ...cautions]) console.log("!", text);
  console.log(say);
  for (const one of outcomes) console.log(`  [${one.words}]`);
  if (unit) console.log(`  [____ ${unit}]`);
  console.log("  [I don't know]");
}

const machine = { duty: "fuel-shutoff", control: "controller-on-crank", coil: "body-ground" };
let it = await ask("POST", "/v1/cases", { by: "Dana", machine });
const address = `/v1/cases/${it.number.replace(" ", "")}`;
for (const answer of process.argv.slice(2)) {
  if (it.leading.next_check === null) break; // nothing is left to ask; leading.advice says what to do
  shown(it.leading);
  const { check, unit } = it.leading.next_check;
  const told = unit && Number(answer) ? { value: Number(answer), unit } : { outcome: answer };
  it = await ask("POST", `${address}/findings`, { by: "Ana", check, ...told });
}
const end = { by: "Ana", cause: "ground-resistive", minutes: 35 };
it = await ask("POST", `${address}/close`, end, { "If-Match": `"${it.version}"` });
console.log(it.state, "as", it.outcome.cause);
console.log(await closed);
process.exit(0);
