// Carries bytes by URLSession, which unpacks by itself and so leaves out `content-encoding`.

import Foundation
#if canImport(FoundationNetworking)
import FoundationNetworking
#endif

/// A courier for apps. Follows no redirect and caches nothing; the system's proxy and trust hold.
public final class UrlCourier: NSObject, Courier, URLSessionTaskDelegate, @unchecked Sendable {
    public func carry(parcel: Parcel) throws -> Reply {
        guard let url = URL(string: parcel.url) else { throw CourierError.Offline }
        var request = URLRequest(url: url, cachePolicy: .reloadIgnoringLocalCacheData)
        request.httpMethod = parcel.method
        request.httpBody = parcel.body
        request.timeoutInterval = Double(parcel.timeoutMs) / 1000
        for header in parcel.headers where header.name != "accept-encoding" {
            request.setValue(header.value, forHTTPHeaderField: header.name)
        }
        let session = URLSession(configuration: .ephemeral, delegate: self, delegateQueue: nil)
        defer { session.finishTasksAndInvalidate() }
        let done = DispatchSemaphore(value: 0)
        let answer = Answer()
        session.dataTask(with: request) { data, response, error in
            answer.take(data, response, error)
            done.signal()
        }.resume()
        done.wait()
        return try answer.reply()
    }

    public func urlSession(
        _ session: URLSession, task: URLSessionTask, willPerformHTTPRedirection response: HTTPURLResponse,
        newRequest request: URLRequest, completionHandler: @escaping @Sendable (URLRequest?) -> Void
    ) {
        completionHandler(nil)
    }
}

private final class Answer: @unchecked Sendable {
    private var data = Data()
    private var response: HTTPURLResponse?
    private var error: Error?

    func take(_ data: Data?, _ response: URLResponse?, _ error: Error?) {
        self.data = data ?? Data()
        self.response = response as? HTTPURLResponse
        self.error = error
    }

    func reply() throws -> Reply {
        guard let response else {
            switch (error as? URLError)?.code {
            case .timedOut?: throw CourierError.TimedOut
            case .cancelled?: throw CourierError.Stopped
            case .serverCertificateUntrusted?, .serverCertificateHasBadDate?, .secureConnectionFailed?:
                throw CourierError.Untrusted
            default: throw CourierError.Offline
            }
        }
        let headers = response.allHeaderFields.compactMap { name, value -> Header? in
            guard let name = name as? String, name.lowercased() != "content-encoding" else { return nil }
            return Header(name: name.lowercased(), value: "\(value)")
        }
        return Reply(status: UInt16(response.statusCode), headers: headers, body: data)
    }
}
