// Finishes the document that protoc-gen-openapiv2 writes: openapi.mjs DOCUMENT IMAGE.
// IMAGE is the schema as buf builds it, in JSON; it knows the scope of every method.
import {readFileSync, writeFileSync} from 'node:fs'

const [documentFile, imageFile] = process.argv.slice(2)
const text = readFileSync(documentFile, 'utf8')
// The generator makes singulars by cutting off an s.
  .replaceAll('{strategie}', '{strategy}')
  .replaceAll('"name": "strategie"', '"name": "strategy"')
const doc = JSON.parse(text)

const scopes = new Map()
for (const file of JSON.parse(readFileSync(imageFile, 'utf8')).file) {
  for (const service of file.service ?? []) {
    for (const method of service.method) {
      scopes.set(method.name, method.options?.['[phasewright.v1.scope]'])
    }
  }
}

// Comments become a summary of one sentence and a description with all of it.
for (const path of Object.values(doc.paths)) {
  for (const operation of Object.values(path)) {
    const scope = scopes.get(operation.operationId)
    if (!scope) throw new Error(`${operation.operationId} has no scope`)
    const whole = [operation.summary, operation.description].filter(Boolean).join('\n\n')
      .split(/\n{2,}/).map(paragraph => paragraph.replace(/\s*\n\s*/g, ' ').trim())
    operation.summary = whole[0].match(/^.*?[.](?= [A-Z]|$)/)?.[0] ?? whole[0]
    operation.description = [...whole, `A key needs the scope ${scope.replace('SCOPE_', '').toLowerCase()}.`].join('\n\n')
  }
}

// Services that REST has not, and definitions that nothing refers to.
const used = new Set(Object.values(doc.paths).flatMap(path => Object.values(path)).flatMap(operation => operation.tags))
doc.tags = doc.tags.filter(tag => used.has(tag.name))
for (let gone = true; gone;) {
  const refers = JSON.stringify(doc)
  const idle = Object.keys(doc.definitions).filter(name => !refers.includes(`"#/definitions/${name}"`))
  for (const name of idle) delete doc.definitions[name]
  gone = idle.length > 0
}

writeFileSync(documentFile, JSON.stringify(doc, null, 2) + '\n')
