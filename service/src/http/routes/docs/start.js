// The plain layout has no bar with a logo and a search field.
SwaggerUIBundle({
  url: "../openapi.json",
  dom_id: "#docs",
  layout: "BaseLayout",
  presets: [SwaggerUIBundle.presets.apis],
  deepLinking: true,
  docExpansion: "none",
  defaultModelsExpandDepth: 0,
  validatorUrl: null,
});
