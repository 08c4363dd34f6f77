//! Spans of requests by OTLP over HTTP, for those who look at several servers together. What is in them
//! is what is in the log. Built only with the feature `otlp`.

use std::time::Duration;

use axum::body::Bytes;
use axum::http::{Request, Response};
use opentelemetry::trace::TracerProvider as _;
use opentelemetry_http::{HttpClient, HttpError};
use opentelemetry_otlp::{Protocol, SpanExporter, WithExportConfig as _, WithHttpConfig as _};
use opentelemetry_sdk::Resource;
use opentelemetry_sdk::trace::SdkTracerProvider;
use tracing::Subscriber;
use tracing_opentelemetry::OpenTelemetryLayer;
use tracing_subscriber::registry::LookupSpan;

/// A collector that does not answer is given up after this long; its spans are lost, nothing else.
const PATIENCE: Duration = Duration::from_secs(10);

/// Sends by the HTTP client that is here already.
#[derive(Debug)]
struct Client(ureq::Agent);

impl HttpClient for Client {
    fn send_bytes<'a, 'b>(
        &'a self,
        request: Request<Bytes>,
    ) -> std::pin::Pin<Box<dyn Future<Output = Result<Response<Bytes>, HttpError>> + Send + 'b>>
    where
        'a: 'b,
        Self: 'b,
    {
        // The exporter has a thread of its own: it may wait there.
        Box::pin(async move {
            let (parts, body) = request.into_parts();
            let sent = Request::from_parts(parts, body.to_vec());
            let mut answer = self.0.run(sent)?;
            let bytes = Bytes::from(answer.body_mut().read_to_vec()?);
            Ok(Response::builder().status(answer.status()).body(bytes)?)
        })
    }
}

/// The layer that makes spans, and what has to be shut down at the end.
///
/// # Errors
/// When the address is none.
pub(crate) fn layer<S>(
    url: &str,
) -> Result<(OpenTelemetryLayer<S, opentelemetry_sdk::trace::SdkTracer>, SdkTracerProvider), String>
where
    S: Subscriber + for<'span> LookupSpan<'span>,
{
    let agent = ureq::Agent::config_builder().timeout_global(Some(PATIENCE)).http_status_as_error(false);
    let exporter = SpanExporter::builder()
        .with_http()
        .with_http_client(Client(agent.build().into()))
        .with_protocol(Protocol::HttpBinary)
        .with_endpoint(format!("{}/v1/traces", url.trim_end_matches('/')))
        .build()
        .map_err(|e| format!("OTLP: {e}"))?;
    let about = Resource::builder_empty().with_service_name("backstraight").build();
    let provider = SdkTracerProvider::builder().with_batch_exporter(exporter).with_resource(about).build();
    let tracer = provider.tracer("backstraight");
    // Neither places in the source nor threads: they say nothing to whoever runs a club's server.
    let layer = tracing_opentelemetry::layer()
        .with_tracer(tracer)
        .with_location(false)
        .with_threads(false)
        .with_tracked_inactivity(false);
    Ok((layer, provider))
}
