// Carries bytes by URLSession, which unpacks by itself and so leaves out `content-encoding`.

import Foundation
#if canImport(FoundationNetworking)
import FoundationNetworking
#endif

/// More than any answer has.
private let mostBytes = 16 * 1024 * 1024

/// A courier for apps. Follows no redirect and caches nothing; the system's proxy and trust hold. The time that a
/// parcel gives is for the whole, whatever part of it is slow.
public final class UrlCourier: Courier, @unchecked Sendable {
    public init() {}

    public func carry(parcel: Parcel) throws -> Reply {
        guard let url = URL(string: parcel.url) else { throw CourierError.Offline }
        let time = Double(parcel.timeoutMs) / 1000
        var request = URLRequest(url: url, cachePolicy: .reloadIgnoringLocalCacheData)
        request.httpMethod = parcel.method
        request.httpBody = parcel.body
        request.timeoutInterval = time
        for header in parcel.headers where header.name != "accept-encoding" {
            request.setValue(header.value, forHTTPHeaderField: header.name)
        }
        let configuration = URLSessionConfiguration.ephemeral
        // The one above begins anew with each piece that comes.
        configuration.timeoutIntervalForResource = time
        let answer = Answer()
        let session = URLSession(configuration: configuration, delegate: answer, delegateQueue: nil)
        defer { session.finishTasksAndInvalidate() }
        session.dataTask(with: request).resume()
        answer.done.wait()
        return try answer.reply()
    }
}

/// Gathers an answer. Called by one queue, and read after the end.
private final class Answer: NSObject, URLSessionDataDelegate, @unchecked Sendable {
    let done = DispatchSemaphore(value: 0)
    private var data = Data()
    private var response: HTTPURLResponse?
    private var error: Error?
    private var tooLong = false

    func urlSession(
        _ session: URLSession, task: URLSessionTask, willPerformHTTPRedirection response: HTTPURLResponse,
        newRequest request: URLRequest, completionHandler: @escaping @Sendable (URLRequest?) -> Void
    ) {
        completionHandler(nil)
    }

    func urlSession(_ session: URLSession, dataTask: URLSessionDataTask, didReceive data: Data) {
        if self.data.count + data.count > mostBytes {
            tooLong = true
            dataTask.cancel()
        } else {
            self.data.append(data)
        }
    }

    func urlSession(_ session: URLSession, task: URLSessionTask, didCompleteWithError error: Error?) {
        response = task.response as? HTTPURLResponse
        self.error = error
        done.signal()
    }

    func reply() throws -> Reply {
        if tooLong { throw CourierError.Failed }
        guard let response, error == nil else {
            switch (error as? URLError)?.code {
            case .timedOut?: throw CourierError.TimedOut
            case .cancelled?: throw CourierError.Stopped
            case .serverCertificateUntrusted?, .serverCertificateHasBadDate?, .serverCertificateHasUnknownRoot?,
                .serverCertificateNotYetValid?:
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
