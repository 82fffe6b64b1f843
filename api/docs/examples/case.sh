#!/usr/bin/env bash
# The life of a case with curl: open, add, read, close, export. Needs curl and jq.
# Usage: THREEWIRE_URL=http://127.0.0.1:8000 THREEWIRE_KEY=tw_... ./case.sh
set -euo pipefail
url=${THREEWIRE_URL:-http://127.0.0.1:8000}
ask=(curl -sS --fail-with-body -H 'Content-Type: application/json')
[ -z "${THREEWIRE_KEY:-}" ] || ask+=(-H "Authorization: Bearer $THREEWIRE_KEY")

number=$("${ask[@]}" "$url/v1/cases" -H "Idempotency-Key: open-W-1183-$RANDOM" -d '
  {"by": "Dana", "fleet_number": "S-03", "reference": "W-1183",
   "machine": {"duty": "fuel-shutoff", "control": "controller-on-crank", "coil": "unknown"}}' |
  jq -r '.number | gsub(" "; "")')
echo "opened $number"

"${ask[@]}" "$url/v1/cases/$number/findings" -d '
  {"by": "Ana", "check": "ground-side-voltage", "value": 5.2, "unit": "V"}' |
  jq -r '.leading.causes[0].name'

"${ask[@]}" "$url/v1/cases/$number/diagnosis" | jq -r '.advice.do'

"${ask[@]}" "$url/v1/cases/$number/close" -H 'If-Match: "2"' -d '
  {"by": "Ana", "cause": "ground-resistive", "replaced": ["ground eye"], "minutes": 35}' |
  jq -r '.state'

"${ask[@]}" "$url/v1/cases/$number/work-order.csv"
